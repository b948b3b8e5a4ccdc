package play

import (
	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Timeline is all that happened in one drill, as it was recorded: what the trainee decided and when,
// and what the eye answered. It is what the judge reads. Seconds count on the drill's own clock, which
// starts at zero when the first stage is shown and stands at eye time minus the opening's.
type Timeline struct {
	ScenarioID string
	Digest     string // SHA-256 of the scenario's bytes, lower-case hex
	Model      string // version of the model eye that answered
	Variant    string
	Seed       uint64
	ClockOff   bool           // time limits were off (accommodation)
	Overlay    script.Applied // the programme\'s overlay the scenario was changed by; zero for none
	Opening    Segment
	Steps      []Step
	Events     []Event // what the facilitator did; the judge leaves it out
	Ending     string  // id; empty while the drill runs
	Safe       bool    // the ending is a safe one
}

// Segment is one stretch of eye time: what happened in it, the extremes, and the state after it.
type Segment struct {
	Start, End       float64 // drill seconds
	Marks            []eye.Mark
	Low, High, After eye.Measures
}

// Step is one decision. Thinking is the stretch in which the eye went on while the trainee thought;
// Doing is what the decision did.
type Step struct {
	Index    int    // 0, 1, 2 ...
	Stage    string // where it was taken
	Choice   string // authored choice or one of the reserved ids; empty for a free action
	Say      string // the choice's words, or the free actions in words
	Free     []eye.Action
	Reason   string  // what the trainee said, may be empty
	Stance   Stance  // the author's view of the choice; empty for a free action
	Because  string  // the author's reason for that view
	Elapsed  float64 // seconds between the stage being shown and the decision
	TimedOut bool    // the clock ran out and decided
	Undone   bool    // taken back within the time allowed; the judge leaves it out
	Refused  string  // why the eye could not do it, empty when it did; nothing was changed then
	Thinking Segment
	Doing    Segment
	Showing  []string // finding ids on afterwards
	Next     string   // stage shown afterwards, or the ending's id
}

// Stance is the author's view of a choice.
type Stance string

// The stances, from domain teaching practice; "acceptable" asks for a reason.
const (
	Preferred  Stance = "preferred"
	Acceptable Stance = "acceptable"
	Suboptimal Stance = "suboptimal"
	Harmful    Stance = "harmful"
	Critical   Stance = "critical"
)

// Reserved choices that every stage offers without the author's doing.
const (
	ChoiceSafeStop = "close-and-refer" // make safe, close, hand over: ends the drill safely
	ChoiceTimeout  = "clock-ran-out"   // the stage's time limit decided
)
