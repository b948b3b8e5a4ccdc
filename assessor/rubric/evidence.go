package rubric

import (
	"fmt"
	"strings"

	"zonule/scenarios/eye"
)

// Sort says what an [Evidence] is.
type Sort int

// The sorts of evidence.
const (
	Happened Sort = iota // something came at Second: a finding, a signal, a word, a choice
	Absent               // it did not come up to Second
	Measured             // a measure of the eye in the stretch that ended at Second
	Counted              // a number of decisions or marks up to Second
	Timed                // a number of seconds from one thing to another, which came at Second
	Stated               // a state of the drill: its ending, what was said, what stayed on
)

// Evidence is one thing a rule looked at.
type Evidence struct {
	Sort     Sort
	Decision int     // index of the decision; -1 for the drill as a whole or as it began
	Thinking bool    // it came while the trainee thought, before that decision
	Second   float64 // on the drill's clock
	Name     string  // id of the mark or measure, or what was counted or timed
	Value    float64 // of a measure (in Unit), a count, or seconds; else 0
	Unit     string
	Text     string // what stands beside it: the finding's own words, what the trainee said
}

// String says it in words with its second and decision.
func (e Evidence) String() string {
	switch e.Sort {
	case Absent:
		return fmt.Sprintf("%s did not come up to second %.1f", plain(e.Name), e.Second)
	case Measured:
		if m, _, ok := measureIn(e.Name); ok && m.Bool {
			return fmt.Sprintf("%s: %s, at second %.1f%s", plain(e.Name), yesNo(e.Value), e.Second, e.where())
		}
		return fmt.Sprintf("%s was %s by second %.1f%s", plain(e.Name), quantity(e.Value, e.Unit), e.Second, e.where())
	case Counted:
		return fmt.Sprintf("%s: %g up to second %.1f", plain(e.Name), e.Value, e.Second)
	case Timed:
		return fmt.Sprintf("%s: %.1f s", plain(e.Name), e.Value)
	case Stated:
		if e.Text != "" {
			return fmt.Sprintf("%s: %s", plain(e.Name), e.Text)
		}
		return plain(e.Name)
	}
	return fmt.Sprintf("%s at second %.1f%s", plain(e.Name), e.Second, e.where())
}

func (e Evidence) where() string {
	switch {
	case e.Decision < 0:
		return ""
	case e.Thinking:
		return fmt.Sprintf(" (while thinking before decision %d)", e.Decision+1)
	}
	return fmt.Sprintf(" (decision %d)", e.Decision+1)
}

// plain makes words of ids.
func plain(name string) string {
	if choice, ok := strings.CutPrefix(name, choicePrefix); ok {
		return fmt.Sprintf("the choice %q", choice)
	}
	if word, ok := strings.CutPrefix(name, saidPrefix); ok {
		return fmt.Sprintf("saying %q", strings.ReplaceAll(word, "-", " "))
	}
	if m, head, ok := measureIn(name); ok {
		short, _, _ := strings.Cut(m.Meaning, ";")
		if i := strings.IndexAny(short, ":("); i > 0 { // what the measure is, without how it is told
			short = strings.TrimSpace(short[:i])
		}
		return head + short
	}
	return strings.ReplaceAll(name, "-", " ")
}

// measureIn finds the measure that is the last word of a name ("lowest chamber_depth_mm"), and what stands before it.
func measureIn(name string) (m eye.MeasureInfo, head string, ok bool) {
	head, last := "", name
	if i := strings.LastIndexByte(name, ' '); i >= 0 {
		head, last = name[:i+1], name[i+1:]
	}
	i, ok := eye.MeasureIndex(last)
	if !ok {
		return eye.MeasureInfo{}, "", false
	}
	return eye.MeasureTable()[i], head, true
}

func yesNo(v float64) string {
	if v > 0.5 {
		return "yes"
	}
	return "no"
}

func quantity(v float64, unit string) string {
	s := fmt.Sprintf("%.3g", v)
	if unit != "" {
		s += " " + unit
	}
	return s
}
