package script

import (
	"fmt"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
)

// Format prints a scenario as a text that parses to the same meaning, in the manual's order of keys. Comments
// are not kept.
func Format(sc *Scenario) []byte {
	w := &writer{}
	w.key(0, "zonule", Language)
	w.key(0, "id", sc.ID)
	w.key(0, "shown_as", quote(sc.ShownAs))
	w.key(0, "complication", quote(sc.Complication))
	w.key(0, "teaches", quote(sc.Teaches))
	w.key(0, "brief", quote(sc.Brief))
	w.key(0, "evidences", "["+strings.Join(sc.Evidences, ", ")+"]")
	w.key(0, "reviewed_by", quote(sc.ReviewedBy))
	w.key(0, "review_due", quote(sc.ReviewDue))
	w.key(0, "cautions", quote(sc.Cautions))
	w.line(0, "sources:")
	for _, s := range sc.Sources {
		ref := ""
		if s.Ref != "" {
			ref = ", ref: " + quote(s.Ref)
		}
		w.line(1, "- {claim: "+quote(s.Claim)+", mark: "+s.Mark+ref+"}")
	}
	w.key(0, "orientation", "{eye: "+sc.Side+", sits: "+quote(sc.Sits)+"}")
	w.startingEye(sc.Eye)
	w.variants(sc.Variants)
	if len(sc.Machine.Args) > 0 {
		w.line(0, "machine: "+arguments(sc.Machine.Args))
	}
	w.actions(0, "opening", sc.Opening)
	if len(sc.Moves) > 0 {
		w.line(0, "moves:")
		for _, m := range sc.Moves {
			w.actions(1, m.Name, m.Actions)
		}
	}
	if sc.FreeHands {
		w.line(0, "free_hands: true")
	}
	w.key(0, "first", sc.First)
	w.transitions(0, "anywhere", sc.Anywhere)
	w.line(0, "stages:")
	for _, st := range sc.Stages {
		w.stage(st)
	}
	w.line(0, "endings:")
	for _, e := range sc.Endings {
		w.line(1, e.ID+":")
		w.key(2, "says", quote(e.Says))
		if e.Safe {
			w.line(2, "safe: true")
		}
		w.guard(2, e.When)
	}
	return []byte(w.b.String())
}

type writer struct{ b strings.Builder }

func (w *writer) line(depth int, s string) {
	w.b.WriteString(strings.Repeat("  ", depth))
	w.b.WriteString(s)
	w.b.WriteByte('\n')
}

// key writes a key unless its value is empty: a missing key must stay missing.
func (w *writer) key(depth int, key, value string) {
	if value != "" && value != `""` {
		w.line(depth, key+": "+value)
	}
}

func (w *writer) guard(depth int, g *Guard) {
	if g != nil {
		w.line(depth, "when: "+quote(g.Source))
	}
}

func (w *writer) startingEye(e StartingEye) {
	if len(e.Terms) == 0 && e.Fragments == nil && e.Cortex == nil && !e.NoCortex {
		return
	}
	w.line(0, "eye:")
	for _, t := range e.Terms {
		w.line(1, t.Name+": "+t.Term.String())
	}
	if e.Fragments != nil {
		w.line(1, "fragments:")
		for _, p := range e.Fragments {
			w.line(2, "- {hour: "+p.Hour.String()+", volume: "+p.Volume.String()+"}")
		}
	}
	switch {
	case e.NoCortex:
		w.line(1, "cortex: none")
	case e.Cortex != nil:
		var names []string
		for _, t := range e.Cortex {
			names = append(names, t.String())
		}
		w.line(1, "cortex: ["+strings.Join(names, ", ")+"]")
	}
}

func (w *writer) variants(vs []Variant) {
	w.line(0, "variants:")
	for _, v := range vs {
		w.line(1, v.Name+":")
		w.key(2, "about", quote(v.About))
		if len(v.Values) == 0 {
			w.line(2, "values: {}")
			continue
		}
		w.line(2, "values:")
		for _, val := range v.Values {
			w.line(3, val.Name+": "+val.String())
		}
	}
}

// String writes the value as an author would.
func (v Value) String() string {
	if v.From != nil {
		return "{from: " + v.From.String() + ", to: " + v.To.String() + "}"
	}
	words := make([]string, len(v.OneOf))
	for i, a := range v.OneOf {
		words[i] = a.String()
		if v.Truth {
			words[i] = strconv.FormatBool(a.Number != 0)
		}
	}
	if len(words) == 1 {
		return words[0]
	}
	return "{one_of: [" + strings.Join(words, ", ") + "]}"
}

func arguments(args []Argument) string {
	parts := make([]string, len(args))
	for i, a := range args {
		parts[i] = a.Name + ": " + a.Term.String()
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func (w *writer) actions(depth int, key string, list []Action) {
	if len(list) == 0 {
		return
	}
	w.line(depth, key+":")
	for _, a := range list {
		w.line(depth+1, "- "+a.String())
	}
}

// String writes the action as an author would: the main argument bare behind the verb.
func (a Action) String() string {
	head, rest := a.Verb, []string{}
	if a.Move != "" {
		head = "move: " + a.Move
	} else {
		verb, _ := eye.LookupVerb(a.Verb)
		main, hasMain := mainArgument(verb)
		head += ":"
		for _, arg := range a.Args {
			if hasMain && arg.Name == main.Name {
				head += " " + arg.Term.String()
			} else {
				rest = append(rest, arg.Name+": "+arg.Term.String())
			}
		}
		if head == a.Verb+":" && len(rest) == 0 && a.When == nil {
			return a.Verb
		}
	}
	if a.When != nil {
		rest = append(rest, "when: "+quote(a.When.Source))
	}
	return "{" + strings.Join(append([]string{head}, rest...), ", ") + "}"
}

func (w *writer) transitions(depth int, key string, ts []Transition) {
	if len(ts) == 0 {
		return
	}
	w.line(depth, key+":")
	for _, t := range ts {
		when := ""
		if t.When != nil {
			when = "when: " + quote(t.When.Source) + ", "
		}
		w.line(depth+1, "- {"+when+"go: "+t.Go+"}")
	}
}

func (w *writer) stage(st Stage) {
	w.line(1, st.Name+":")
	w.key(2, "cue", quote(st.Cue))
	if len(st.Also) > 0 {
		w.line(2, "also:")
		for _, s := range st.Also {
			w.line(3, "- {when: "+quote(s.When.Source)+", say: "+quote(s.Say)+"}")
		}
	}
	if st.Clock != nil {
		w.line(2, "clock:")
		w.key(3, "limit", Amount{st.Clock.Seconds, "s"}.String())
		w.key(3, "then", st.Clock.Then)
		w.actions(3, "does", st.Clock.Does)
	}
	if st.Pedal != nil {
		w.line(2, "while_thinking: {pedal: "+st.Pedal.String()+"}")
	}
	w.actions(2, "arrive", st.Arrive)
	w.line(2, "choices:")
	for _, ch := range st.Choices {
		w.choice(ch)
	}
	if st.Panel != nil {
		w.line(2, "panel:")
		if st.Panel.Illustrative {
			w.line(3, "illustrative: true")
		}
		w.line(3, "votes:")
		for _, v := range st.Panel.Votes {
			w.line(4, v.Choice+": "+strconv.Itoa(v.Count))
		}
	}
	w.transitions(2, "next", st.Next)
}

func (w *writer) choice(ch Choice) {
	w.line(3, ch.ID+":")
	w.key(4, "say", quote(ch.Say))
	w.guard(4, ch.When)
	w.actions(4, "does", ch.Does)
	w.key(4, "stance", ch.Stance)
	w.key(4, "because", quote(ch.Because))
	if ch.AsksReason {
		w.line(4, "asks: reason")
	}
}

// quote writes a text as a double-quoted YAML scalar.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case c == '\n':
			b.WriteString(`\n`)
		case c < ' ' || c >= 0x7f && c <= 0xa0 || c >= 0x2000 && c <= 0x206f || c == 0xfeff:
			b.WriteString(fmt.Sprintf(`\u%04x`, c))
		default:
			b.WriteRune(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}
