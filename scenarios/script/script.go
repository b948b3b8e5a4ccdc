// Package script is the scenario language: a branching case written as YAML text, read strictly, checked
// whole, and printed back. README.md is its manual; every word is explained there.
//
// [Parse] reads and checks a text; whatever is wrong is reported by file, line and column with what to do
// about it. A [Scenario] that Parse gave needs no further checks: every guard compiles, every action fits
// the model eye's palette in every variant, every stage is reached and can be left. [Format] prints a
// scenario back to a text that parses to the same meaning. [Digest] names a version of a scenario.
//
// The verbs of actions and their arguments, units and ranges are the model eye's own (eye.Verbs); the
// measures that guards ask for are eye.MeasureTable. Nothing is written twice.
package script

import (
	"crypto/sha256"
	"encoding/hex"

	"zonule/scenarios/script/text"
)

// Language names the language and its version; every scenario begins with it.
const Language = "scenario/1"

// Ending ids and stage names that the language itself knows.
const (
	GoEnding     = "ending"          // a transition's go: the first ending whose condition holds
	SafeStop     = "close-and-refer" // the choice every stage offers: make safe, close, hand over
	SafeEnding   = "closed-and-referred"
	ClockRanOut  = "clock-ran-out" // the choice recorded when a stage's time limit decided
	safeStopSays = "Make safe, close the eye and refer"
	safeEndSays  = "The eye was made safe, closed and handed over. Stopping is always open to you."
)

// Scenario is one branching case. Lists keep the order of the text.
type Scenario struct {
	ID           string
	ShownAs      string // the title the trainee reads
	Complication string // hidden until the debrief; "none" for a normal case
	Teaches      string // hidden until the debrief
	Brief        string // what the trainee reads before the first cue
	Evidences    []string
	ReviewedBy   string
	ReviewDue    string // a date, 2027-06-01
	Cautions     string
	Sources      []Source
	Side, Sits   string // left or right eye; where the surgeon sits
	Eye          StartingEye
	Machine      Action // verb machine
	Variants     []Variant
	Opening      []Action
	Moves        []Move
	FreeHands    bool // free actions are taken beside the offered choices
	First        string
	Anywhere     []Transition // tried before each stage's own
	Stages       []Stage
	Endings      []Ending
	Digest       string  // of the bytes it was parsed from; empty when it was not parsed
	Overlay      Applied // the programme's overlay that changed it; zero for none

	doc *text.Doc
}

// Applied names a programme's overlay and the scenario it changed. The digest of the changed scenario is made of both.
type Applied struct {
	ID      string
	Version int
	Digest  string // of the overlay's bytes
	Base    string // digest of the scenario before
}

// Source says where a fact of the scenario comes from.
type Source struct {
	Claim string
	Mark  string // published, common practice, from memory
	Ref   string // for published ones
}

// Move is a named list of actions that several choices share.
type Move struct {
	Name    string
	Actions []Action
}

// Stage is one situation: what is seen, what may be done, where it leads.
type Stage struct {
	Name    string
	Cue     string
	Also    []Sentence
	Clock   *Clock
	Pedal   *Term // pedal position held while the trainee thinks, on arrival; nil leaves it where it is
	Arrive  []Action
	Choices []Choice
	Panel   *Panel
	Next    []Transition
}

// Sentence is added to a cue while its condition holds.
type Sentence struct {
	When *Guard
	Say  string
}

// Clock is a stage's time limit and the stage or ending it leads to when it runs out.
type Clock struct {
	Seconds float64
	Then    string
	Does    []Action
}

// Choice is one thing a stage offers.
type Choice struct {
	ID         string
	Say        string
	When       *Guard // offered only while it holds; nil for always
	Does       []Action
	Stance     string
	Because    string
	AsksReason bool
}

// Panel holds the votes of an expert panel over a stage's choices, where guidance diverges.
type Panel struct {
	Illustrative bool // invented votes, shown as such
	Votes        []Vote
}

// Vote is how many of the panel would take a choice.
type Vote struct {
	Choice string
	Count  int
}

// Transition leads to a stage or an ending when its condition holds; no condition always holds.
type Transition struct {
	When *Guard
	Go   string
}

// Ending is where a drill can end. When is asked only by a transition to "ending".
type Ending struct {
	ID   string
	Says string
	Safe bool
	When *Guard
}

// Normal reports whether the case has no complication, so that freezing is wrong.
func (sc *Scenario) Normal() bool { return sc.Complication == "none" }

// Stage finds a stage by name.
func (sc *Scenario) Stage(name string) (*Stage, bool) {
	for i := range sc.Stages {
		if sc.Stages[i].Name == name {
			return &sc.Stages[i], true
		}
	}
	return nil, false
}

// Ending finds an ending by id. The safe ending exists in every scenario; its words are the language's
// own unless the author wrote others.
func (sc *Scenario) Ending(id string) (Ending, bool) {
	for _, e := range sc.Endings {
		if e.ID == id {
			return e, true
		}
	}
	if id == SafeEnding {
		return Ending{ID: SafeEnding, Says: safeEndSays, Safe: true}, true
	}
	return Ending{}, false
}

// Choice finds an authored choice by id and the stage that offers it; ids are unique in a scenario.
func (sc *Scenario) Choice(id string) (*Stage, *Choice, bool) {
	for i := range sc.Stages {
		st := &sc.Stages[i]
		for j := range st.Choices {
			if st.Choices[j].ID == id {
				return st, &st.Choices[j], true
			}
		}
	}
	return nil, nil, false
}

// Variant finds a variant by name.
func (sc *Scenario) Variant(name string) (*Variant, bool) {
	for i := range sc.Variants {
		if sc.Variants[i].Name == name {
			return &sc.Variants[i], true
		}
	}
	return nil, false
}

// SafeStopChoice is the choice every stage offers last. Its stance is not the author's view: whether
// stopping was right is for the judge to say from what happened.
func SafeStopChoice() Choice {
	return Choice{ID: SafeStop, Say: safeStopSays}
}

// Digest names the bytes of a scenario: SHA-256 in lower-case hex.
func Digest(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
