package author

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/script"
)

// Change is one thing that two versions of a scenario say otherwise. Was is empty for what is new, Now for what is
// gone.
type Change struct {
	Path     string // stages.tug.choices.hold.say
	Was, Now string
}

// String writes the change on one line.
func (c Change) String() string {
	switch {
	case c.Was == "":
		return c.Path + ": new: " + c.Now
	case c.Now == "":
		return c.Path + ": gone: " + c.Was
	}
	return c.Path + ": was " + c.Was + ", is " + c.Now
}

// leaf is one value of a scenario with the path to it.
type leaf struct {
	path  []string
	value string
}

// Diff lists what changed from one version to another, in the order of the newer text, then what is gone. A stage,
// choice, variant, move or ending that is new or gone is one change.
func Diff(old, now *script.Scenario) []Change {
	before, after := leaves(old), leaves(now)
	var out []Change
	said := map[string]bool{}
	for _, l := range after {
		was, ok := find(before, l.path)
		switch {
		case ok && was != l.value:
			out = append(out, Change{strings.Join(l.path, "."), was, l.value})
		case !ok:
			if whole := missing(before, l.path); !said[whole] {
				said[whole] = true
				out = append(out, Change{Path: whole, Now: summary(after, whole)})
			}
		}
	}
	said = map[string]bool{}
	for _, l := range before {
		if _, ok := find(after, l.path); !ok {
			if whole := missing(after, l.path); !said[whole] {
				said[whole] = true
				out = append(out, Change{Path: whole, Was: summary(before, whole)})
			}
		}
	}
	return out
}

func find(all []leaf, path []string) (string, bool) {
	for _, l := range all {
		if slices.Equal(l.path, path) {
			return l.value, true
		}
	}
	return "", false
}

// missing gives the shortest beginning of a path that nothing in the other version has.
func missing(other []leaf, path []string) string {
	for n := 1; n < len(path); n++ {
		if !slices.ContainsFunc(other, func(l leaf) bool { return len(l.path) >= n && slices.Equal(l.path[:n], path[:n]) }) {
			return strings.Join(path[:n], ".")
		}
	}
	return strings.Join(path, ".")
}

// summary says what stands at a path: the value, or of a whole stage or choice its first words.
func summary(all []leaf, path string) string {
	for _, l := range all {
		at := strings.Join(l.path, ".")
		if at == path || strings.HasPrefix(at, path+".") {
			if l.value != "" {
				return l.value
			}
		}
	}
	return "(nothing written)"
}

// leaves writes a scenario as paths and values; lists are one value.
func leaves(sc *script.Scenario) []leaf {
	var out []leaf
	add := func(value string, path ...string) {
		if value != "" {
			out = append(out, leaf{path, value})
		}
	}
	add(sc.ID, "id")
	add(sc.ShownAs, "shown_as")
	add(sc.Complication, "complication")
	add(sc.Teaches, "teaches")
	add(sc.Brief, "brief")
	add(strings.Join(sc.Evidences, ", "), "evidences")
	add(sc.ReviewedBy, "reviewed_by")
	add(sc.ReviewDue, "review_due")
	add(sc.Cautions, "cautions")
	for _, s := range sc.Sources {
		add(strings.TrimRight(s.Mark+": "+s.Ref, ": "), "sources", s.Claim)
	}
	add(sc.Side+", "+sc.Sits, "orientation")
	for _, t := range sc.Eye.Terms {
		add(t.Term.String(), "eye", t.Name)
	}
	add(pieces(sc.Eye), "eye", "fragments")
	add(cortexOf(sc.Eye), "eye", "cortex")
	for _, v := range sc.Variants {
		add(v.About, "variants", v.Name, "about")
		for _, val := range v.Values {
			add(val.String(), "variants", v.Name, "values", val.Name)
		}
	}
	for _, a := range sc.Machine.Args {
		add(a.Term.String(), "machine", a.Name)
	}
	add(acts(sc.Opening), "opening")
	for _, m := range sc.Moves {
		add(acts(m.Actions), "moves", m.Name)
	}
	add(fmt.Sprint(sc.FreeHands), "free_hands")
	add(sc.First, "first")
	add(transitions(sc.Anywhere), "anywhere")
	for _, st := range sc.Stages {
		stageLeaves(st, add)
	}
	for _, e := range sc.Endings {
		add(e.Says, "endings", e.ID, "says")
		add(fmt.Sprint(e.Safe), "endings", e.ID, "safe")
		add(source(e.When), "endings", e.ID, "when")
	}
	return out
}

func stageLeaves(st script.Stage, add func(value string, path ...string)) {
	at := func(value string, path ...string) { add(value, append([]string{"stages", st.Name}, path...)...) }
	at(st.Cue, "cue")
	for _, s := range st.Also {
		at(s.Say, "also", source(s.When))
	}
	if st.Clock != nil {
		at(fmt.Sprintf("%g s", st.Clock.Seconds), "clock", "limit")
		at(st.Clock.Then, "clock", "then")
		at(acts(st.Clock.Does), "clock", "does")
	}
	if st.Pedal != nil {
		at(st.Pedal.String(), "while_thinking")
	}
	at(acts(st.Arrive), "arrive")
	for _, ch := range st.Choices {
		at(ch.Say, "choices", ch.ID, "say")
		at(source(ch.When), "choices", ch.ID, "when")
		at(acts(ch.Does), "choices", ch.ID, "does")
		at(ch.Stance, "choices", ch.ID, "stance")
		at(ch.Because, "choices", ch.ID, "because")
		if ch.AsksReason {
			at("reason", "choices", ch.ID, "asks")
		}
	}
	if st.Panel != nil {
		at(fmt.Sprint(st.Panel.Illustrative), "panel", "illustrative")
		for _, v := range st.Panel.Votes {
			at(fmt.Sprint(v.Count), "panel", "votes", v.Choice)
		}
	}
	at(transitions(st.Next), "next")
}

func source(g *script.Guard) string {
	if g == nil {
		return ""
	}
	return g.Source
}

func acts(list []script.Action) string {
	var out []string
	for _, a := range list {
		out = append(out, a.String())
	}
	return strings.Join(out, " ")
}

func transitions(list []script.Transition) string {
	var out []string
	for _, t := range list {
		words := "go " + t.Go
		if t.When != nil {
			words = "when " + t.When.Source + " " + words
		}
		out = append(out, words)
	}
	return strings.Join(out, "; ")
}

func pieces(e script.StartingEye) string {
	var out []string
	for _, p := range e.Fragments {
		out = append(out, p.Volume.String()+" at "+p.Hour.String())
	}
	return strings.Join(out, ", ")
}

func cortexOf(e script.StartingEye) string {
	if e.NoCortex {
		return "none"
	}
	var out []string
	for _, t := range e.Cortex {
		out = append(out, t.String())
	}
	return strings.Join(out, ", ")
}
