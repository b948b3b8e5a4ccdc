package drill

import (
	"math"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// measureNames are the names of the measures in the order in which this build writes them.
var measureNames = func() []string {
	var names []string
	for _, m := range eye.MeasureTable() {
		names = append(names, m.Name)
	}
	return names
}()

// segmentOut writes a segment. Of the extremes it keeps those that differ from the state afterwards.
func segmentOut(s play.Segment) *drillv1.Segment {
	out := &drillv1.Segment{StartS: s.Start, EndS: s.End, After: s.After[:], Marks: marksOut(s.Marks)}
	for i, after := range s.After {
		if s.Low[i] < after {
			out.Low = extreme(out.Low, i, s.Low[i])
		}
		if s.High[i] > after {
			out.High = extreme(out.High, i, s.High[i])
		}
	}
	return out
}

func extreme(e *drillv1.Extremes, measure int, value float64) *drillv1.Extremes {
	if e == nil {
		e = &drillv1.Extremes{}
	}
	e.Measures, e.Values = append(e.Measures, uint32(measure)), append(e.Values, value)
	return e
}

func marksOut(marks []eye.Mark) []*drillv1.Mark {
	out := make([]*drillv1.Mark, len(marks))
	for i, m := range marks {
		out[i] = &drillv1.Mark{AtS: m.At, Name: m.Name, Off: m.Off, Text: m.Text}
	}
	return out
}

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

// segmentIn reads a segment. A measure that the record does not have is NaN, never a silent zero.
func (p places) segmentIn(s *drillv1.Segment) play.Segment {
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
	p.extremesIn(s.GetLow(), &out.Low)
	p.extremesIn(s.GetHigh(), &out.High)
	for _, m := range s.GetMarks() {
		out.Marks = append(out.Marks, eye.Mark{At: m.GetAtS(), Name: m.GetName(), Off: m.GetOff(), Text: m.GetText()})
	}
	return out
}

func (p places) extremesIn(e *drillv1.Extremes, into *eye.Measures) {
	for i, place := range e.GetMeasures() {
		if int(place) < len(p) && p[place] >= 0 && i < len(e.GetValues()) {
			into[p[place]] = e.GetValues()[i]
		}
	}
}

func actionsOut(actions []eye.Action) []*drillv1.Action {
	var out []*drillv1.Action
	for _, a := range actions {
		out = append(out, &drillv1.Action{Verb: a.Verb, Numbers: a.Num, Words: a.Word})
	}
	return out
}

func actionsIn(actions []*drillv1.Action) []eye.Action {
	var out []eye.Action
	for _, a := range actions {
		out = append(out, eye.Action{Verb: a.GetVerb(), Num: a.GetNumbers(), Word: a.GetWords()})
	}
	return out
}

// stances in the order of the contract's enum, the first of which says nothing.
var stances = []play.Stance{"", play.Preferred, play.Acceptable, play.Suboptimal, play.Harmful, play.Critical}

func stanceOut(s play.Stance) drillv1.Stance {
	for i, known := range stances {
		if known == s {
			return drillv1.Stance(i)
		}
	}
	return drillv1.Stance_STANCE_UNSPECIFIED
}

func stanceIn(s drillv1.Stance) play.Stance {
	if int(s) < len(stances) {
		return stances[s]
	}
	return ""
}

func stepOut(s *play.Step) *drillv1.Step {
	return &drillv1.Step{
		Index: uint32(s.Index), Stage: s.Stage, Choice: s.Choice, Say: s.Say, Free: actionsOut(s.Free), Reason: s.Reason,
		Stance: stanceOut(s.Stance), Because: s.Because, ElapsedS: s.Elapsed, TimedOut: s.TimedOut, Undone: s.Undone,
		Refused: s.Refused, Thinking: segmentOut(s.Thinking), Doing: segmentOut(s.Doing), Showing: s.Showing, Next: s.Next,
	}
}

func (p places) stepIn(s *drillv1.Step) play.Step {
	return play.Step{
		Index: int(s.GetIndex()), Stage: s.GetStage(), Choice: s.GetChoice(), Say: s.GetSay(), Free: actionsIn(s.GetFree()), Reason: s.GetReason(),
		Stance: stanceIn(s.GetStance()), Because: s.GetBecause(), Elapsed: s.GetElapsedS(), TimedOut: s.GetTimedOut(), Undone: s.GetUndone(),
		Refused: s.GetRefused(), Thinking: p.segmentIn(s.GetThinking()), Doing: p.segmentIn(s.GetDoing()), Showing: s.GetShowing(), Next: s.GetNext(),
	}
}

// timelineIn puts what is recorded of a drill together.
func timelineIn(d *drillv1.Drill, start *drillv1.DrillStarted, taken []*drillv1.DecisionTaken) *play.Timeline {
	p := placesOf(start.GetMeasures())
	t := &play.Timeline{
		ScenarioID: d.GetScenarioId(), Digest: d.GetDigest(), Model: d.GetModel(), Variant: d.GetVariant(), Seed: d.GetSeed(),
		ClockOff: d.GetClockOff(), Opening: p.segmentIn(start.GetOpening()), Ending: d.GetEnding(), Safe: d.GetSafe(),
	}
	for _, one := range taken {
		t.Steps = append(t.Steps, p.stepIn(one.GetStep()))
	}
	return t
}

// sceneOut writes a scene as it goes on record: without the measures, which the step holds.
func sceneOut(s *play.Scene) *drillv1.Scene {
	out := &drillv1.Scene{
		Cue: s.Cue, Findings: s.Findings, FreeHands: s.FreeHands, LimitS: s.LimitS, Index: uint32(s.Index), Ending: s.Ending, Orientation: s.Orientation,
	}
	for _, c := range s.Choices {
		out.Choices = append(out.Choices, &drillv1.Choice{Id: c.ID, Say: c.Say, AsksReason: c.AsksReason})
	}
	return out
}
