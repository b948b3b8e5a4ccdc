package play

import (
	"fmt"
	"math"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Replay plays a recorded timeline's decisions again: the way a drill goes on after a power cut, and the way
// history is checked. It fails when the timeline is of another version of the scenario, and when a recorded
// decision can no longer be taken; it does not compare what the eye answered (see [Compare]).
func Replay(sc *script.Scenario, t *Timeline) (*Drill, error) {
	if t.Digest != sc.Digest {
		return nil, fmt.Errorf("the timeline is of version %.12s of %s, the scenario given is version %.12s; give that version", t.Digest, t.ScenarioID, sc.Digest)
	}
	d, err := New(sc, Options{Variant: t.Variant, Seed: t.Seed, ClockOff: t.ClockOff})
	if err != nil {
		return nil, err
	}
	for i, step := range t.Steps {
		if err := d.again(t, i); err != nil {
			return nil, err
		}
		if step.Index != i {
			return nil, fmt.Errorf("decision %d is recorded in place %d; the timeline is not whole", step.Index, i)
		}
		if _, err := d.Decide(step.Decision()); err != nil {
			return nil, fmt.Errorf("decision %d at stage %s cannot be played again: %w", i, step.Stage, err)
		}
		if step.Undone {
			if err := d.Undo(); err != nil {
				return nil, err
			}
		}
	}
	return d, d.again(t, len(t.Steps))
}

// again brings about the events recorded before a decision.
func (d *Drill) again(t *Timeline, before int) error {
	for _, e := range t.Events {
		if e.Before != before {
			continue
		}
		if err := d.repeat(e); err != nil {
			return fmt.Errorf("the event %s before decision %d cannot be brought about again: %w", e.Kind, before, err)
		}
	}
	return nil
}

// Decision gives the decision a step recorded.
func (s Step) Decision() Decision {
	d := Decision{Elapsed: s.Elapsed, Reason: s.Reason, TimedOut: s.TimedOut}
	switch {
	case s.TimedOut:
	case len(s.Free) > 0:
		d.Free = s.Free
	default:
		d.Choice = s.Choice
	}
	return d
}

// Difference is one place where a replay differs from the record.
type Difference struct {
	Step     int    // -1 for the opening or the timeline as a whole
	What     string // a measure's name, or what else differs
	Recorded string
	Replayed string
}

// String says where and what in one line.
func (d Difference) String() string {
	where := "timeline"
	if d.Step >= 0 {
		where = fmt.Sprintf("decision %d", d.Step)
	}
	return fmt.Sprintf("%s: %s was %s, is %s", where, d.What, d.Recorded, d.Replayed)
}

// Compare lists where a replayed timeline differs from the recorded one. Measures after each decision may
// differ by tolerance, relative to the larger of 1 and the recorded value; stages, endings and refusals may
// not differ. The record is never changed.
func Compare(recorded, replayed *Timeline, tolerance float64) []Difference {
	var out []Difference
	differ := func(step int, what, a, b string) {
		if a != b {
			out = append(out, Difference{step, what, a, b})
		}
	}
	differ(-1, "model", recorded.Model, replayed.Model)
	out = append(out, compareMeasures(-1, recorded.Opening.After, replayed.Opening.After, tolerance)...)
	differ(-1, "number of decisions", fmt.Sprint(len(recorded.Steps)), fmt.Sprint(len(replayed.Steps)))
	for i := range min(len(recorded.Steps), len(replayed.Steps)) {
		a, b := recorded.Steps[i], replayed.Steps[i]
		differ(i, "stage", a.Stage, b.Stage)
		differ(i, "choice", a.Choice, b.Choice)
		differ(i, "next", a.Next, b.Next)
		differ(i, "refusal", fmt.Sprint(a.Refused != ""), fmt.Sprint(b.Refused != ""))
		out = append(out, compareMeasures(i, a.Doing.After, b.Doing.After, tolerance)...)
	}
	differ(-1, "number of events", fmt.Sprint(len(recorded.Events)), fmt.Sprint(len(replayed.Events)))
	for i := range min(len(recorded.Events), len(replayed.Events)) {
		a, b := recorded.Events[i], replayed.Events[i]
		differ(a.Before, "event", string(a.Kind), string(b.Kind))
		out = append(out, compareMeasures(a.Before, a.Doing.After, b.Doing.After, tolerance)...)
	}
	differ(-1, "ending", recorded.Ending, replayed.Ending)
	differ(-1, "safe", fmt.Sprint(recorded.Safe), fmt.Sprint(replayed.Safe))
	return out
}

func compareMeasures(step int, a, b eye.Measures, tolerance float64) []Difference {
	var out []Difference
	for i, info := range eye.MeasureTable() {
		if math.Abs(a[i]-b[i]) > tolerance*max(1, math.Abs(a[i])) {
			out = append(out, Difference{step, info.Name, fmt.Sprintf("%.6g", a[i]), fmt.Sprintf("%.6g", b[i])})
		}
	}
	return out
}
