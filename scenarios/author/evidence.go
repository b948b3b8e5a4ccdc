package author

import (
	"regexp"
	"slices"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Evidence is what a scenario's rubric asks for, as plain names: the judge itself is not known here.
type Evidence struct {
	Names []string // every name that stands in quotes in its rules: marks, measures, choices, stances, endings
}

var inQuotes = regexp.MustCompile(`'([^']*)'|"([^"]*)"`)

// EvidenceOf collects the names in a rubric's rules, given as their texts.
func EvidenceOf(rules []string) *Evidence {
	e := &Evidence{}
	for _, r := range rules {
		for _, m := range inQuotes.FindAllStringSubmatch(r, -1) {
			if name := m[1] + m[2]; !slices.Contains(e.Names, name) {
				e.Names = append(e.Names, name)
			}
		}
	}
	return e
}

func (e *Evidence) asks(name string) bool { return slices.Contains(e.Names, name) }

// asksTheEye reports whether anything that the eye answers is asked for: a measure, a finding, a signal, a switch.
func (e *Evidence) asksTheEye() bool {
	for _, n := range e.Names {
		_, measure := eye.MeasureIndex(n)
		if measure || slices.Contains(script.MarkNames(), n) || n == "irrigation" || n == "aspiration" || n == "ultrasound" {
			return true
		}
	}
	return false
}

// evidence reports choices that leave nothing a rule of the rubric asks for, and pairs of choices that no rule
// can tell apart.
func (c *inspector) evidence(e *Evidence) {
	for _, st := range c.sc.Stages {
		for i, ch := range st.Choices {
			at := []any{"stages", st.Name, "choices", ch.ID}
			if !c.seen(e, ch) {
				c.wrong("nothing the rubric asks for comes of this choice", "ask for its words, its id or its stance in a rule, or let it do something to the eye", at...)
				continue
			}
			for _, other := range st.Choices[:i] {
				if c.alike(e, ch, other) {
					c.wrong("no rule of the rubric can tell this choice from "+other.ID, "let them do different things, or name one of them in a rule", at...)
				}
			}
		}
	}
}

// seen reports whether a choice can bear on a mark: by name, by stance, by what is said, or by what it does to
// the eye when the eye is asked at all. Waiting does something only through the pedal, which counts.
func (c *inspector) seen(e *Evidence, ch script.Choice) bool {
	if e.asks(ch.ID) || e.asks("chose:"+ch.ID) || e.asks(ch.Stance) {
		return true
	}
	for _, a := range c.spelled(ch.Does) {
		switch a.Verb {
		case "say":
			if e.asks("said-" + said(a)) {
				return true
			}
		case "wait":
		default:
			if e.asksTheEye() {
				return true
			}
		}
	}
	return false
}

func (c *inspector) alike(e *Evidence, a, b script.Choice) bool {
	if a.Stance != b.Stance || e.asks(a.ID) || e.asks(b.ID) || e.asks("chose:"+a.ID) || e.asks("chose:"+b.ID) {
		return false
	}
	return c.deeds(a) == c.deeds(b)
}

func (c *inspector) deeds(ch script.Choice) string {
	var all []string
	for _, a := range c.spelled(ch.Does) {
		all = append(all, a.String())
	}
	return strings.Join(all, "\n")
}

// spelled writes moves out.
func (c *inspector) spelled(list []script.Action) []script.Action { return spelled(c.sc, list) }

func spelled(sc *script.Scenario, list []script.Action) []script.Action {
	var out []script.Action
	for _, a := range list {
		if a.Move == "" {
			out = append(out, a)
			continue
		}
		for _, m := range sc.Moves {
			if m.Name == a.Move {
				out = append(out, m.Actions...)
			}
		}
	}
	return out
}

func said(a script.Action) string {
	for _, arg := range a.Args {
		if arg.Term.Word != "" {
			return arg.Term.Word
		}
	}
	return ""
}

// wordsSaid collects every word that an action of the scenario says, and those of the safe stop.
func wordsSaid(sc *script.Scenario) []string {
	words := []string{"stop", "refer"}
	take := func(list []script.Action) {
		for _, a := range spelled(sc, list) {
			if a.Verb == "say" {
				words = append(words, said(a))
			}
		}
	}
	for _, st := range sc.Stages {
		take(st.Arrive)
		if st.Clock != nil {
			take(st.Clock.Does)
		}
		for _, ch := range st.Choices {
			take(ch.Does)
		}
	}
	return words
}
