package dashboard

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
)

const inventedDigest = "3f9c1d0e6a7b5c4d2e1f0a9b8c7d6e5f4a3b2c1d0e9f8a7b6c5d4e3f2a1b0c9d"

// invented is a programme of invented people with one drill recorded in full.
func invented() *offices {
	o := &offices{
		programme: &rosterv1.Programme{Name: "Harbour Eye Training (invented)", Invented: true},
		curves:    map[string]*progressv1.GetCurveResponse{},
		version:   &scenariov1.ScenarioVersion{ScenarioId: "weak-sector-at-chop", Digest: inventedDigest, Complication: "zonular-dialysis-at-chop", ReviewedBy: "none yet"},
	}
	people := []struct {
		id, name string
		n        int
		gap      float64
		critical []int
	}{
		{"t-001", "Aino Invented", 24, 2.6, []int{4, 9}}, {"t-002", "Bao Invented", 11, 2.2, []int{2}}, {"t-003", "Chidi Invented", 5, 2.9, nil},
		{"t-004", "", 17, 1.8, []int{13}}, {"t-005", "Elif Invented-Longername of the Northern Harbour", 38, 2.4, nil}, {"t-006", "Farid Invented", 0, 0, nil},
		{"t-007", "Gudrun Invented", 9, 3.1, []int{1, 3, 5}}, {"t-008", "Hana Invented", 14, 1.5, nil},
	}
	for _, who := range people {
		row := &progressv1.TraineeRow{PersonId: who.id, Drills: uint32(who.n)}
		for i, c := range competencies {
			n := who.n - i
			if n <= 0 || (i == 7 && who.n < 15) {
				continue
			}
			critical := who.critical
			if i%3 != 2 {
				critical = nil
			}
			curve := series(who.id, c.ID, n, who.gap-0.1*float64(i), critical...)
			o.curves[who.id+"/"+c.ID] = curve
			row.Standings = append(row.Standings, standing(curve))
			row.LastAt = curve.GetPoints()[n-1].GetAt()
		}
		if who.n > 0 {
			row.LastAt = day(3 * who.n)
		}
		o.members = append(o.members, &progressv1.CohortMember{PersonId: who.id, DisplayName: who.name, Row: row})
	}
	o.record()
	return o
}

// record adds drills to the first trainee: one running, one abandoned, and one ended and judged.
func (o *offices) record() {
	ended := &drillv1.Drill{DrillId: "t-001-d24", PersonId: "t-001", Bench: "bench 2", ScenarioId: "weak-sector-at-chop", Digest: inventedDigest, ShownAs: "List B, third case", Variant: "harder", Seed: 4711,
		Model: "eye/1", State: drillv1.DrillState_DRILL_STATE_ENDED, Decisions: 6, Seconds: 71.4, Ending: "bag-saved", Safe: true, StartedAt: day(72), EndedAt: day(72)}
	o.drills = []*drillv1.Drill{
		{DrillId: "t-001-d25", PersonId: "t-001", ScenarioId: "strand-at-tip", ShownAs: "List A, first case", Variant: "usual", State: drillv1.DrillState_DRILL_STATE_RUNNING, Decisions: 2, Seconds: 14.2, StartedAt: day(73)},
		ended,
		{DrillId: "t-001-x01", PersonId: "t-001", ScenarioId: "hard-shallow-eye", ShownAs: "List C, second case", Variant: "usual", State: drillv1.DrillState_DRILL_STATE_ABANDONED, Decisions: 1, Seconds: 9, ClockOff: true, StartedAt: day(70), EndedAt: day(70)},
	}
	for i := 23; i > 0; i-- {
		d := proto.CloneOf(ended)
		d.DrillId, d.StartedAt, d.ShownAs = fmt.Sprintf("t-001-d%02d", i), day(3*i), fmt.Sprintf("List %c, case %d", 'A'+i%3, 1+i%5)
		o.drills = append(o.drills, d)
	}
	o.timelines = map[string]*drillv1.Timeline{"t-001-d24": inventedTimeline(), "t-001-x01": {}}
	o.judged = map[string]*assessmentv1.Assessment{"t-001-d24": inventedAssessment()}
}

var inventedMeasures = []string{"chamber_depth_mm", "iop_mmhg", "pressure_gap_mmhg", "dialysis_hours", "vitreous_in_chamber_ul", "vitreous_lost_ul", "ovd_fill", "pedal", "vacuum_mmhg", "hyaloid_breached", "harm"}

func segment(from, to float64, after []float64, marks ...*drillv1.Mark) *drillv1.Segment {
	return &drillv1.Segment{StartS: from, EndS: to, After: after, Marks: marks}
}

func extreme(places []uint32, values ...float64) *drillv1.Extremes {
	return &drillv1.Extremes{Measures: places, Values: values}
}

func inventedTimeline() *drillv1.Timeline {
	t := &drillv1.Timeline{ScenarioId: "weak-sector-at-chop", Digest: inventedDigest, Model: "eye/1", Variant: "harder", Seed: 4711, Measures: inventedMeasures, Ending: "bag-saved", Safe: true}
	t.Opening = segment(-6, 0, []float64{3.1, 41, -6, 3.6, 0, 0, 0.1, 2, 280, 0, 0.1},
		&drillv1.Mark{AtS: -4.2, Name: "phaco-entered"}, &drillv1.Mark{AtS: -0.4, Name: "gap-widens", Text: "The bag edge comes into view at 5 o'clock."})
	step := func(i int, stage, choice, say string, stance drillv1.Stance, because string, from, at, to float64, thought, done []float64, marks ...*drillv1.Mark) *drillv1.Step {
		return &drillv1.Step{Index: uint32(i), Stage: stage, Choice: choice, Say: say, Stance: stance, Because: because, ElapsedS: at - from,
			Thinking: segment(from, at, thought), Doing: segment(at, to, done, marks...), Next: stage}
	}
	pulled := step(0, "crack", "rotate", "Rotate for a better angle", drillv1.Stance_STANCE_HARMFUL, "it turns the bag on what still holds it.", 0, 6.4, 9.1,
		[]float64{2.9, 38, -4, 3.6, 0, 0, 0.08, 2, 310, 0, 0.2}, []float64{2.2, 26, 3, 5.1, 2.4, 2.4, 0.05, 2, 120, 1, 0.9},
		&drillv1.Mark{AtS: 7.1, Name: "folds", Text: "Wrinkles run toward 5 o'clock."}, &drillv1.Mark{AtS: 8.3, Name: "chamber-shallow", Text: "The chamber shallows."}, &drillv1.Mark{AtS: 9, Name: "gel-in-chamber", Text: "Clear gel in the chamber."})
	pulled.Doing.Low, pulled.Doing.High = extreme([]uint32{0, 1}, 1.6, 14), extreme([]uint32{8}, 330)
	pulled.Reason = "The chopper would not reach the far half."
	hold := step(1, "crack", "hold", "Hold still, irrigation only, say what you see", drillv1.Stance_STANCE_PREFERRED, "nothing moves while you look, and the chamber stays.", 9.1, 12.3, 14,
		[]float64{2.3, 28, 2, 5.1, 2.6, 2.6, 0.05, 2, 140, 1, 0.9}, []float64{3, 40, -5, 5.1, 2.6, 2.6, 0.04, 1, 0, 1, 0.9},
		&drillv1.Mark{AtS: 13.2, Name: "chamber-shallow", Text: "The chamber shallows.", Off: true})
	fill := step(2, "steady", "fill", "Viscoelastic over the weak sector through the side port", drillv1.Stance_STANCE_PREFERRED, "", 14, 20.5, 27.5,
		[]float64{3, 40, -5, 5.1, 2.6, 2.6, 0.04, 1, 0, 1, 0.9}, []float64{3.2, 34, -3, 5.1, 1.9, 2.6, 0.72, 1, 0, 1, 0.9}, &drillv1.Mark{AtS: 20.5, Name: "viscoelastic"})
	out := step(3, "steady", "", "", drillv1.Stance_STANCE_UNSPECIFIED, "", 27.5, 33, 35,
		[]float64{3.2, 33, -3, 5.1, 1.9, 2.6, 0.7, 1, 0, 1, 0.9}, []float64{3, 20, 0, 5.1, 1.9, 2.6, 0.66, 0, 0, 1, 0.9}, &drillv1.Mark{AtS: 34.2, Name: "chamber-holds-itself", Text: "The chamber stays formed with irrigation off."})
	out.Free = []*drillv1.Action{{Verb: "withdraw", Words: map[string]string{"tool": "phaco-tip"}, Numbers: map[string]float64{"pedal": 0}}}
	late := step(4, "plan", "wait", "Look again before deciding", drillv1.Stance_STANCE_ACCEPTABLE, "a look costs little while the chamber holds.", 35, 55, 56,
		[]float64{2.8, 17, 1, 5.1, 2, 2.6, 0.6, 0, 0, 1, 0.9}, []float64{2.8, 17, 1, 5.1, 2, 2.6, 0.6, 0, 0, 1, 0.9})
	late.TimedOut = true
	hooks := step(5, "plan", "hooks", "Hooks on the capsulotomy edge, then lower the bottle", drillv1.Stance_STANCE_SUBOPTIMAL, "the bottle should come down first.", 56, 62.2, 71.4,
		[]float64{2.8, 17, 1, 5.1, 2, 2.6, 0.58, 0, 0, 1, 0.9}, []float64{3, 22, -1, 5.1, 2, 2.6, 0.5, 0, 0, 1, 0.9})
	hooks.Refused = "The third hook found no edge to hold."
	hooks.Next = "bag-saved"
	t.Steps = []*drillv1.Step{pulled, hold, fill, out, late, hooks}
	return t
}

func inventedAssessment() *assessmentv1.Assessment {
	shallow := 1.6
	return &assessmentv1.Assessment{DrillId: "t-001-d24", PersonId: "t-001", Rubric: "weak sector at chop, version 1", ApprovedBy: "none yet", AssessedAt: day(72),
		Marks: []*assessmentv1.Mark{
			{Criterion: "C1", Title: "Recognises early", Level: 2, Anchor: "Sees the sign after acting on.", Reason: "Wrinkles showed at 7.1 s; the first decision that answered them came at 12.3 s.", Rule: "at_most(seconds('folds', 'aspiration off'), 8.0)",
				Evidence: []*assessmentv1.Evidence{{Decision: 0, AtS: 7.1, Name: "folds", Text: "Wrinkles ran toward 5 o'clock"}, {Decision: 1, AtS: 12.3, Name: "hold", Text: "Held still, irrigation only"}}},
			{Criterion: "C2", Title: "Keeps the chamber stable", Level: 2, Anchor: "The chamber shallows and is brought back.", Reason: "The chamber fell below 2 mm once and was formed again within 4 s.", Rule: "lowest('chamber_depth_mm') > 1.5",
				Evidence: []*assessmentv1.Evidence{{Decision: 0, AtS: 8.3, Name: "chamber_depth_mm", Value: &shallow, Unit: "mm", Text: "Lowest depth of the chamber"}}},
			{Criterion: "C4", Title: "Selects and orders actions", Level: 3, Anchor: "Right actions, one out of order.", Reason: "Viscoelastic came before withdrawing; hooks came before the bottle was lowered."},
			{Criterion: "C7", Title: "Protects capsule and zonules", Level: 2, Anchor: "Further zonules are lost by an avoidable act.", Reason: "Rotation cost 1.5 clock hours of zonules.", CappedBy: "rotated-on-weakness"},
			{Criterion: "C9", Title: "Communicates, calls for help, hands over"},
		},
		CriticalErrors: []*assessmentv1.CriticalError{{Id: "rotated-on-weakness", Title: "The nucleus was rotated against the weak sector", Reason: "Unsafe because the turning force lands on the zonules next to the gap, which tear one after another.", Decision: 0, AtS: 6.4, Caps: []string{"C7"}}},
	}
}

// assessAnother gives a trainee one more drill in a competency, as if it had just been judged.
func (o *offices) assessAnother(person, criterion string, gap float64) {
	defer o.lock()()
	old := o.curves[person+"/"+criterion]
	next := series(person, criterion, len(old.GetPoints())+1, gap)
	o.curves[person+"/"+criterion] = next
	for i, m := range o.members {
		if m.GetPersonId() != person {
			continue
		}
		m = proto.CloneOf(m)
		m.Row.Drills++
		for j, s := range m.Row.Standings {
			if s.GetCriterion() == criterion {
				m.Row.Standings[j] = standing(next)
			}
		}
		o.members[i] = m
	}
}
