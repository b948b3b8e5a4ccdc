package script

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

// Parse reads a scenario and checks it whole. file is only a name for messages. The error is text.Problems:
// every problem by line and column with what to do.
func Parse(file string, data []byte) (*Scenario, error) {
	sc, problems, err := parse(file, data)
	if err != nil {
		return nil, err
	}
	problems = append(problems, checkStructure(sc)...)
	problems = append(problems, checkTitle(sc)...)
	if err := problems.Err(); err != nil {
		return nil, err
	}
	return sc, nil
}

// Check finds everything wrong with a scenario; nil when nothing is. A scenario made in code is printed and
// read again, so that its problems have a place in a text too.
func Check(sc *Scenario) text.Problems {
	data := Format(sc)
	file := "scenario.yaml"
	if sc.doc != nil {
		file = sc.doc.File
	}
	_, err := Parse(file, data)
	if err == nil {
		return nil
	}
	return err.(text.Problems)
}

// parse fills a scenario and gathers the problems of its words; structure is checked afterwards.
func parse(file string, data []byte) (*Scenario, text.Problems, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, nil, advise(err)
	}
	var raw rawScenario
	if err := doc.Decode(&raw); err != nil {
		return nil, nil, advise(err)
	}
	r := &reader{doc: doc, truths: map[string]bool{}, used: map[string]bool{}, movesUsed: map[string]bool{}}
	sc := &Scenario{
		ID: raw.ID, ShownAs: oneLine(raw.ShownAs), Complication: oneLine(raw.Complication), Teaches: oneLine(raw.Teaches), Brief: oneLine(raw.Brief),
		Evidences: raw.Evidences, ReviewedBy: oneLine(raw.ReviewedBy), ReviewDue: oneLine(raw.ReviewDue), Cautions: oneLine(raw.Cautions),
		Side: raw.Orientation.Eye, Sits: oneLine(raw.Orientation.Sits), FreeHands: raw.FreeHands, First: raw.First,
		Digest: Digest(data), doc: doc,
	}
	for _, s := range raw.Sources {
		sc.Sources = append(sc.Sources, Source{oneLine(s.Claim), s.Mark, oneLine(s.Ref)})
	}
	r.header(raw)
	r.names(raw, sc)
	if r.lang == nil {
		return sc, r.problems, nil
	}
	r.fill(raw, sc)
	r.unused()
	return sc, r.problems, nil
}

// advise adds what to do to problems of the reader that say none.
func advise(err error) error {
	problems, ok := err.(text.Problems)
	if !ok {
		return err
	}
	for i := range problems {
		switch {
		case problems[i].Do != "":
		case strings.Contains(problems[i].Message, "already defined"):
			problems[i].Do = "keep one of them"
		default:
			problems[i].Do = "check indents, colons, quotes and brackets here"
		}
	}
	return problems
}

// reader turns the raw text into a scenario and gathers problems.
type reader struct {
	doc       *text.Doc
	problems  text.Problems
	lang      *rule.Language
	values    []Value // of the first variant; every variant has the same names
	variants  []Variant
	truths    map[string]bool
	used      map[string]bool // circumstances something asks for
	movesUsed map[string]bool
	broken    bool // the circumstances are wrong, so actions are not tried with them
	moves     []string
	stages    []string
	choices   []string
}

func (r *reader) fail(message, do string, path ...any) {
	r.problems = append(r.problems, r.doc.Problem(message, do, path...))
}

// fill reads everything that needs the names to be known.
func (r *reader) fill(raw rawScenario, sc *Scenario) {
	sc.Variants = r.variants
	sc.Eye = r.startingEye(raw.Eye)
	sc.Machine = r.actionOf("machine", raw.Machine, []any{"machine"})
	for _, name := range r.moves {
		sc.Moves = append(sc.Moves, Move{name, r.actions(raw.Moves[name], false, "moves", name)})
	}
	sc.Opening = r.actions(raw.Opening, true, "opening")
	sc.Anywhere = r.transitions(raw.Anywhere, "anywhere")
	for _, name := range r.stages {
		sc.Stages = append(sc.Stages, r.stage(name, raw.Stages[name]))
	}
	for _, id := range r.doc.Keys("endings") {
		e := raw.Endings[id]
		sc.Endings = append(sc.Endings, Ending{ID: id, Says: oneLine(e.Says), Safe: e.Safe, When: r.guard(e.When, "endings", id, "when")})
		r.plainName(id, "an ending", "endings", id)
		if strings.TrimSpace(e.Says) == "" {
			r.fail("the ending has no words", "write says: what the trainee reads at the end", "endings", id)
		}
	}
}

func (r *reader) stage(name string, raw rawStage) Stage {
	st := Stage{Name: name, Cue: oneLine(raw.Cue)}
	r.plainName(name, "a stage", "stages", name)
	r.placeholders(raw.Cue, "stages", name, "cue")
	if strings.TrimSpace(raw.Cue) == "" {
		r.fail("the stage has no cue", "write what the surgeon sees, hears or feels", "stages", name)
	}
	for i, s := range raw.Also {
		r.placeholders(s.Say, "stages", name, "also", i, "say")
		if !r.doc.Has("stages", name, "also", i, "when") || oneLine(s.Say) == "" {
			r.fail("an added sentence wants a condition and its words", "write {when: condition, say: words}", "stages", name, "also", i)
		}
		st.Also = append(st.Also, Sentence{r.guard(s.When, "stages", name, "also", i, "when"), oneLine(s.Say)})
	}
	if raw.Clock != nil {
		st.Clock = r.clock(raw.Clock, name)
	}
	st.Pedal = r.whileThinking(raw.WhileThinking, name)
	st.Arrive = r.actions(raw.Arrive, true, "stages", name, "arrive")
	for _, id := range r.doc.Keys("stages", name, "choices") {
		st.Choices = append(st.Choices, r.choice(id, raw.Choices[id], "stages", name, "choices", id))
	}
	if raw.Panel != nil {
		st.Panel = &Panel{Illustrative: raw.Panel.Illustrative}
		for _, id := range r.doc.Keys("stages", name, "panel", "votes") {
			st.Panel.Votes = append(st.Panel.Votes, Vote{id, raw.Panel.Votes[id]})
		}
	}
	st.Next = r.transitions(raw.Next, "stages", name, "next")
	return st
}

func (r *reader) choice(id string, raw rawChoice, path ...any) Choice {
	c := Choice{ID: id, Say: oneLine(raw.Say), Stance: raw.Stance, Because: oneLine(raw.Because), AsksReason: raw.Asks == "reason"}
	c.When = r.guard(raw.When, join(path, "when")...)
	c.Does = r.actions(raw.Does, true, join(path, "does")...)
	r.plainName(id, "a choice", path...)
	r.filledIn(raw.Say, false, join(path, "say")...)
	if raw.Asks != "" && raw.Asks != "reason" {
		r.fail(fmt.Sprintf("asks %q is not known", raw.Asks), "write asks: reason, or leave it out", join(path, "asks")...)
	}
	return c
}

func (r *reader) clock(raw *rawClock, stage string) *Clock {
	c := &Clock{Then: raw.Then, Does: r.actions(raw.Does, true, "stages", stage, "clock", "does")}
	a, err := parseAmount(raw.Seconds)
	if err == nil {
		c.Seconds, err = a.In("s")
	}
	switch {
	case raw.Seconds == "":
		r.fail("the clock has no limit", "write limit: 20 s", "stages", stage, "clock")
	case err != nil:
		r.fail(err.Error(), "", "stages", stage, "clock", "limit")
	case c.Seconds < 2 || c.Seconds > 300:
		r.fail(fmt.Sprintf("a limit of %s is out of range", raw.Seconds), "give from 2 s to 300 s", "stages", stage, "clock", "limit")
	}
	return c
}

func (r *reader) transitions(raw []rawTransition, path ...any) []Transition {
	var out []Transition
	for i, t := range raw {
		out = append(out, Transition{r.guard(t.When, join(path, i, "when")...), t.Go})
	}
	return out
}

// guard compiles a condition; an empty one is none.
func (r *reader) guard(src string, path ...any) *Guard {
	if src == "" && !r.doc.Has(path...) {
		return nil
	}
	if r.lang == nil {
		return &Guard{Source: src} // ParseActions refuses it
	}
	compiled, err := r.lang.Compile(src)
	if err != nil {
		var m *rule.Mistake
		if asMistake(err, &m) {
			message, do := m.Message, m.Do
			if what, near, ok := strings.Cut(message, "; did you mean"); ok {
				message, do = what, "did you mean"+near
			}
			r.problems = append(r.problems, r.doc.ProblemIn(m.Offset, message, do, path...))
		} else {
			r.fail(err.Error(), "", path...)
		}
		return &Guard{Source: src}
	}
	for _, m := range givenName.FindAllStringSubmatch(src, -1) {
		r.used[m[1]] = true
	}
	return &Guard{Source: src, rule: compiled, truths: r.truths}
}

var (
	placeholder = regexp.MustCompile(`\{([^{}]*)\}`)
	plainName   = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	givenName   = regexp.MustCompile(`\bgiven\.([a-z0-9_]+)`)
	valueName   = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
)

// placeholders checks what a cue asks to have filled in.
func (r *reader) placeholders(cue string, path ...any) { r.filledIn(cue, true, path...) }

// filledIn checks what words ask to have filled in: circumstances, and in cues the findings.
func (r *reader) filledIn(words string, findings bool, path ...any) {
	for _, m := range placeholder.FindAllStringSubmatch(words, -1) {
		if findings && m[1] == "findings" || slices.ContainsFunc(r.values, func(v Value) bool { return v.Name == m[1] }) {
			r.used[m[1]] = true
			continue
		}
		do := "write the name of a circumstance"
		if findings {
			do = "write {findings} or the name of a circumstance"
		}
		r.fail(fmt.Sprintf("{%s} is not something that can be filled in", m[1]), do, path...)
	}
}

func (r *reader) plainName(name, what string, path ...any) {
	if !plainName.MatchString(name) || len(name) > 40 {
		r.fail(fmt.Sprintf("%q is no name for %s", name, what), "use lower-case letters, digits and single hyphens, at most 40", path...)
	}
}

// Fill puts the findings and the circumstances into a cue or a choice's words. Hours and other numbers are rounded to whole ones.
func Fill(cue, findings string, c Circumstances) string {
	out := placeholder.ReplaceAllStringFunc(cue, func(m string) string {
		name := m[1 : len(m)-1]
		if name == "findings" {
			return findings
		}
		if a, ok := c[name]; ok {
			return Amount{float64(int(a.Number + 0.5)), a.Unit}.String()
		}
		return m
	})
	return oneLine(out)
}

// oneLine joins lines and runs of blanks to single blanks.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// join copies a path and adds to it.
func join(path []any, more ...any) []any { return append(slices.Clone(path), more...) }
