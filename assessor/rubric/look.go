package rubric

import (
	"errors"
	"slices"

	"zonule/scenarios/eye"
	"zonule/scenarios/script/rule"
)

// Verdict is what one rule came to on a record.
type Verdict struct {
	Holds     bool
	Undecided bool       // evidence it asks for is missing; Holds is false
	Missing   []string   // what is missing, in words, when Undecided
	Evidence  []Evidence // what the rule looked at, in the order it looked
}

// Judge applies a rule to the record. A record without decisions decides nothing. The error says
// that the rule itself failed, which a compiled rule does only at its cost limit.
func (r *Record) Judge(rl *rule.Rule) (Verdict, error) {
	if r.Empty() {
		return Verdict{Undecided: true, Missing: []string{"no decision was recorded"}}, nil
	}
	l := &look{record: r}
	holds, err := rl.Holds(func(string) (any, bool) { return nil, false }, l)
	if errors.Is(err, rule.ErrMissing) {
		return Verdict{Undecided: true, Missing: l.missing, Evidence: l.evidence}, nil
	}
	if err != nil {
		return Verdict{}, err
	}
	return Verdict{Holds: holds, Evidence: l.evidence}, nil
}

// look is one rule looking at a record; it keeps what was seen.
type look struct {
	record   *Record
	evidence []Evidence
	missing  []string
}

func (l *look) note(e Evidence) {
	if !slices.Contains(l.evidence, e) {
		l.evidence = append(l.evidence, e)
	}
}

// miss notes in words what is missing.
func (l *look) miss(words string) error {
	if !slices.Contains(l.missing, words) {
		l.missing = append(l.missing, words)
	}
	return rule.ErrMissing
}

func (l *look) never(name string) error { return l.miss(plain(name) + " did not come") }

func (l *look) saw(e event) {
	text := e.text
	if e.refused {
		text += " (the eye refused it)"
	}
	l.note(Evidence{Sort: Happened, Decision: e.decision, Thinking: e.thinking, Second: e.at, Name: e.name, Text: text})
}

// absent notes that something did not come, up to the end of the record.
func (l *look) absent(name string) {
	l.note(Evidence{Sort: Absent, Decision: -1, Second: l.record.end, Name: name})
}

func (l *look) counted(name string, n float64) {
	l.note(Evidence{Sort: Counted, Decision: -1, Second: l.record.end, Name: name, Value: n})
}

func (l *look) stated(name, text string) {
	l.note(Evidence{Sort: Stated, Decision: -1, Second: l.record.end, Name: name, Text: text})
}

func (l *look) measured(which string, s stretch, i int, value float64) {
	info := eye.MeasureTable()[i]
	l.note(Evidence{Sort: Measured, Decision: s.decision, Thinking: s.thinking, Second: s.End, Name: which + info.Name, Value: value, Unit: info.Unit})
}
