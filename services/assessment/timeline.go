package assessment

import (
	"math"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// places says where in eye.Measures the recorded measures stand now; -1 for one that is no longer computed.
type places []int

func placesOf(names []string) places {
	out := make(places, len(names))
	for i, name := range names {
		at, ok := eye.MeasureIndex(name)
		if !ok {
			at = -1
		}
		out[i] = at
	}
	return out
}

// timelineIn reads a recorded timeline as the judge reads it.
func timelineIn(t *drillv1.Timeline) play.Timeline {
	p := placesOf(t.GetMeasures())
	out := play.Timeline{
		ScenarioID: t.GetScenarioId(), Digest: t.GetDigest(), Model: t.GetModel(), Variant: t.GetVariant(), Seed: t.GetSeed(),
		ClockOff: t.GetClockOff(), Opening: p.segment(t.GetOpening()), Ending: t.GetEnding(), Safe: t.GetSafe(),
	}
	for _, s := range t.GetSteps() {
		out.Steps = append(out.Steps, p.step(s))
	}
	return out
}

func (p places) step(s *drillv1.Step) play.Step {
	out := play.Step{
		Index: int(s.GetIndex()), Stage: s.GetStage(), Choice: s.GetChoice(), Say: s.GetSay(), Reason: s.GetReason(), Because: s.GetBecause(),
		Elapsed: s.GetElapsedS(), TimedOut: s.GetTimedOut(), Undone: s.GetUndone(), Refused: s.GetRefused(),
		Thinking: p.segment(s.GetThinking()), Doing: p.segment(s.GetDoing()), Showing: s.GetShowing(), Next: s.GetNext(),
	}
	if stances := []play.Stance{"", play.Preferred, play.Acceptable, play.Suboptimal, play.Harmful, play.Critical}; int(s.GetStance()) < len(stances) {
		out.Stance = stances[s.GetStance()]
	}
	for _, a := range s.GetFree() {
		out.Free = append(out.Free, eye.Action{Verb: a.GetVerb(), Num: a.GetNumbers(), Word: a.GetWords()})
	}
	return out
}

// segment reads a segment. A measure that the record does not have is NaN, of which no rule holds; it is never a silent
// zero.
func (p places) segment(s *drillv1.Segment) play.Segment {
	out := play.Segment{Start: s.GetStartS(), End: s.GetEndS()}
	for i := range out.After {
		out.After[i] = math.NaN()
	}
	for i, v := range s.GetAfter() {
		if i < len(p) && p[i] >= 0 {
			out.After[p[i]] = v
		}
	}
	out.Low, out.High = out.After, out.After
	p.extremes(s.GetLow(), &out.Low)
	p.extremes(s.GetHigh(), &out.High)
	for _, m := range s.GetMarks() {
		out.Marks = append(out.Marks, eye.Mark{At: m.GetAtS(), Name: m.GetName(), Off: m.GetOff(), Text: m.GetText()})
	}
	return out
}

func (p places) extremes(e *drillv1.Extremes, into *eye.Measures) {
	for i, place := range e.GetMeasures() {
		if int(place) < len(p) && p[place] >= 0 && i < len(e.GetValues()) {
			into[p[place]] = e.GetValues()[i]
		}
	}
}
