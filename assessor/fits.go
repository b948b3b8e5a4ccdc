package assessor

import (
	"fmt"
	"math"

	"zonule/assessor/rubric"
	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// fits refuses what cannot be judged.
func fits(t play.Timeline, r *rubric.Rubric) error {
	if r == nil {
		return fmt.Errorf("there is no rubric to judge by")
	}
	if t.ScenarioID != r.Scenario {
		return fmt.Errorf("rubric %s judges scenario %q, not %q: take the rubric that stands beside the scenario", r.ID, r.Scenario, t.ScenarioID)
	}
	for i := range t.Steps {
		s := &t.Steps[i]
		if s.Undone {
			continue
		}
		for _, g := range []*play.Segment{&s.Thinking, &s.Doing} {
			if !number(g.Start) || !number(g.End) || g.End < g.Start {
				return fmt.Errorf("the record of decision %d runs from second %g to %g: it is damaged, fetch it again", s.Index+1, g.Start, g.End)
			}
			for _, m := range g.Marks {
				if !number(m.At) {
					return fmt.Errorf("the record of decision %d has %s at second %g: it is damaged, fetch it again", s.Index+1, m.Name, m.At)
				}
			}
			for i := range g.After {
				if v := g.Low[i] + g.High[i] + g.After[i]; math.IsNaN(v) {
					return fmt.Errorf("the record of decision %d has a measure, %s, that is no number: it is damaged, fetch it again", s.Index+1, eye.MeasureTable()[i].Name)
				}
			}
		}
	}
	return nil
}

func number(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
