package assessor

import (
	"fmt"
	"strings"

	"zonule/assessor/rubric"
)

// Assessment is what the judge says about one drill.
type Assessment struct {
	Rubric        string // id
	RubricVersion int
	RubricDigest  string // SHA-256 of the rubric's text
	Standard      string // the standard whose criteria and anchors it uses
	ApprovedBy    string // who approved the rubric; "none yet"

	Scenario string // id
	Digest   string // SHA-256 of the scenario's bytes
	Model    string // the model eye that answered
	Variant  string
	Seed     uint64

	ClockOff bool   // time limits were off, so read every number of seconds with that in mind
	Ending   string // empty while the drill runs
	Safe     bool

	Criteria []Criterion     // those the rubric judges, in the standard's order
	Critical []CriticalError // those committed, in the rubric's order

	Shown int     // how many criteria were shown
	Mean  float64 // weighted mean level of those, after caps; 0 when none was shown
}

// Criterion is the judgement on one criterion.
type Criterion struct {
	ID, Name  string
	Weight    float64
	Level     int    // 1..5 after caps; 0: not shown
	LevelName string // "not shown" for 0
	Anchor    string // what is seen at that level; empty when not shown
	Reason    string // a sentence with the evidence, its seconds and its measures
	Rule      string // source of the rule that gave the level; empty for level 1 and not shown
	Evidence  []rubric.Evidence
	Missing   []string // what was missing, in words, when not shown
	Tried     []Tried  // every rule that was tried, highest level first
	Uncapped  int      // the level before critical errors
	CappedBy  []string // ids of the critical errors that lowered it
}

// Tried is one level rule and what it came to.
type Tried struct {
	Level   int
	Rule    string
	Outcome Outcome
}

// Outcome is what a rule came to.
type Outcome string

// The outcomes of a rule.
const (
	Held    Outcome = "held"
	Failed  Outcome = "did not hold"
	Missing Outcome = "could not be decided, evidence is missing"
)

// CriticalError is a critical error that was committed, with where it was.
type CriticalError struct {
	ID, Why  string
	Decision int     // index of the decision; -1 when it belongs to the drill as a whole
	Second   float64 // on the drill's clock
	Rule     string
	Evidence []rubric.Evidence
	Caps     []rubric.Cap
}

// Summary says the mean and, always beside it, the critical errors. It is never a pass or a fail.
func (a Assessment) Summary() string {
	var b strings.Builder
	if a.Shown == 0 {
		fmt.Fprintf(&b, "None of %s was shown, so there is no mean level.", plural(len(a.Criteria), "criterion", "criteria"))
	} else {
		fmt.Fprintf(&b, "Mean level %.1f over %d of %s.", a.Mean, a.Shown, plural(len(a.Criteria), "criterion", "criteria"))
	}
	if len(a.Critical) == 0 {
		return b.String() + " No critical error."
	}
	fmt.Fprintf(&b, " %s, which no mean takes away:", plural(len(a.Critical), "critical error", "critical errors"))
	for _, e := range a.Critical {
		fmt.Fprintf(&b, " %s (second %.1f): %s", strings.ReplaceAll(e.ID, "-", " "), e.Second, sentence(e.Why))
	}
	return b.String()
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// sentence ends a text with a full stop if it has no end of its own.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}
