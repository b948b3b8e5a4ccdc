package rubric

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// Events that every record has.
const (
	eventStart = "start" // the first stage is shown: second 0, or later when something is done on arrival
	eventEnd   = "end"   // the last recorded second
)

// Prefixes of events that are not in the eye's catalogues.
const (
	choicePrefix = "chose:"
	saidPrefix   = "said-"
)

// switches are what the foot turns on and off: the measure that tells its state, by name. The
// signals are the name with -on and -off.
var switches = map[string]string{
	"irrigation": "irrigation_on",
	"aspiration": "aspirating",
	"ultrasound": "ultrasound_on",
}

// vocabulary checks the literal names in rules.
type vocabulary struct {
	names                       Names
	findings, signals, measures []string
	choices, endings            []string
}

func newVocabulary(n Names) *vocabulary {
	v := &vocabulary{names: n}
	for _, f := range eye.Findings() {
		v.findings = append(v.findings, f.ID)
	}
	for _, s := range eye.Signals() {
		v.signals = append(v.signals, s.Name)
	}
	for _, m := range eye.MeasureTable() {
		v.measures = append(v.measures, m.Name)
	}
	v.signals = append(v.signals, script.PassedOver)
	v.choices = append(slices.Clone(n.Choices), play.ChoiceSafeStop, play.ChoiceTimeout)
	v.endings = append(slices.Clone(n.Endings), script.SafeEnding)
	return v
}

func among(name, what string, known []string) error {
	if slices.Contains(known, name) {
		return nil
	}
	if near := text.Nearest(name, known); near != "" {
		return fmt.Errorf("%q is no %s; did you mean %q?", name, what, near)
	}
	return fmt.Errorf("%q is no %s", name, what)
}

func (v *vocabulary) measure(name string) error { return among(name, "measure of the eye", v.measures) }
func (v *vocabulary) finding(name string) error { return among(name, "finding of the eye", v.findings) }
func (v *vocabulary) choice(name string) error {
	return among(name, "choice of the scenario", v.choices)
}
func (v *vocabulary) ending(name string) error {
	return among(name, "ending of the scenario", v.endings)
}
func (v *vocabulary) toggle(name string) error {
	return among(name, "switch", []string{"irrigation", "aspiration", "ultrasound"})
}
func (v *vocabulary) stance(name string) error {
	return among(name, "stance", []string{string(play.Preferred), string(play.Acceptable), string(play.Suboptimal), string(play.Harmful), string(play.Critical)})
}

// mark takes what can happen: a finding coming on, a signal, a word said, a choice made.
func (v *vocabulary) mark(name string) error {
	if choice, ok := strings.CutPrefix(name, choicePrefix); ok {
		return v.choice(choice)
	}
	known := slices.Concat(v.findings, v.signals)
	if word, ok := strings.CutPrefix(name, saidPrefix); ok {
		if v.names.Said == nil {
			if word == "" {
				return fmt.Errorf("%q names no word; write said- and the word", name)
			}
			return nil
		}
		return among(word, "word said in the scenario", v.names.Said)
	}
	return among(name, "finding or signal of the eye", known)
}

// moment takes a mark, or the start or end of the drill.
func (v *vocabulary) moment(name string) error {
	if name == eventStart || name == eventEnd {
		return nil
	}
	return v.mark(name)
}
