package play

import (
	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// safeStopActions make an eye safe from whatever state it is in: irrigation alone, then viscoelastic before
// anything leaves the eye, out, close, hand over. What does not apply is left out without a word.
func safeStopActions() []eye.Action {
	return []eye.Action{
		{Verb: "pedal", Num: map[string]float64{"position": 1, "for": 1}},
		{Verb: "say", Word: map[string]string{"words": "stop"}},
		{Verb: "pedal", Num: map[string]float64{"position": 0}},
		{Verb: "ovd", Word: map[string]string{"kind": "dispersive"}, Num: map[string]float64{"up_to": 250, "stop": 35}},
		{Verb: "withdraw"},
		{Verb: "check-strands"},
		{Verb: "seal"},
		{Verb: "say", Word: map[string]string{"words": "refer"}},
	}
}

func (d *Drill) safeStop(s *state, seg *stretch, step *Step) error {
	stop := script.SafeStopChoice()
	step.Choice, step.Say = stop.ID, stop.Say
	for _, a := range safeStopActions() {
		if r, err := s.eye.Apply(a); err == nil {
			d.add(s, seg, r)
		}
	}
	s.counts[stop.ID]++
	return d.lead(s, script.SafeEnding, seg, step)
}
