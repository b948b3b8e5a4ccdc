package rubric

import (
	"zonule/scenarios/script/rule"
)

// Kind is the first line of every rubric: what the text is and the version of the language.
const Kind = "rubric/1"

// Rubric is a compiled rubric. It is not changed after [Parse] and is safe for concurrent use.
type Rubric struct {
	ID          string
	Version     int
	Digest      string // SHA-256 of the text, lower-case hex
	Scenario    string // id of the scenario it judges
	Standard    string // the standard it refers to, as [Standard.Ref] writes it
	Licence     string
	Attribution string
	ApprovedBy  string // "none yet" until a programme approves it
	Criteria    []Criterion
	Critical    []CriticalError
}

// Criterion is how one criterion is judged in this scenario.
type Criterion struct {
	ID, Name string
	Weight   float64 // above 0
	// Needs must hold for the criterion to be judged at all; nil: always judged.
	Needs *rule.Rule
	// Levels holds the rule of each level, index 2..Top; nil where there is none. They are tried
	// from Top down, and the first that holds gives the level; level 1 is what is left.
	Levels [Top + 1]*rule.Rule
	// Anchors says what is seen at each level, index 1..Top: the standard's, sharpened where the
	// rubric does so.
	Anchors [Top + 1]string
}

// CriticalError is something that may not be averaged away.
type CriticalError struct {
	ID   string
	When *rule.Rule
	Why  string // sentence for the debrief
	At   string // the event whose first second is the error's; empty: the last thing its rule saw
	Caps []Cap  // in the order of the criteria
}

// Cap is the highest level a criterion can keep after a critical error: 1 or 2.
type Cap struct {
	Criterion string
	Level     int
}

// Names are the names of the scenario that a rubric may use besides those of the model eye.
type Names struct {
	Scenario  string   // its id; empty: not checked
	Choices   []string // authored choices; the reserved ones are known without
	Endings   []string
	Said      []string // words its actions say; nil: any word is taken
	Evidences []string // criteria the scenario claims to show; nil: not checked
}
