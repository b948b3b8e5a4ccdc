package simulate

import (
	"errors"
	"fmt"
	"math"
	"os"
	"testing"

	"zonule/assessor"
	"zonule/assessor/curve"
	"zonule/assessor/cusum"
	"zonule/assessor/rubric"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// drilled plays real drills on the model eye: a trainee who does what is right with a probability
// that rises along a curve, quickly when it is right and without thought when it is not. The marks
// are the judge's.
func drilled(t *testing.T, sc *script.Scenario, r *rubric.Rubric, right func(drill int) float64, drills int, seed uint64) (levels []float64, missed []bool) {
	t.Helper()
	chance := NewChance(seed, "drilled")
	for i := range drills {
		d, err := play.New(sc, play.Options{Variant: "usual", Seed: seed + uint64(i)})
		if err != nil {
			t.Fatal(err)
		}
		decisions := []play.Decision{{Choice: "leave", Elapsed: 2 + 3*chance.Uniform()}}
		if chance.Met(right(i)) {
			decisions = []play.Decision{{Choice: "hold", Elapsed: 2 + 3*chance.Uniform()}, {Choice: "fill-and-leave", Elapsed: 3 + 2*chance.Uniform()}}
		}
		for _, dec := range decisions {
			if _, err := d.Decide(dec); err != nil {
				t.Fatal(err)
			}
		}
		a, err := assessor.Assess(*d.Timeline(), r)
		if err != nil {
			t.Fatal(err)
		}
		levels = append(levels, a.Mean)
		missed = append(missed, len(a.Critical) > 0)
	}
	return levels, missed
}

// Through the real drills and the judge: what a trainee learns comes out of the marks. A cohort that
// learns shows its curve, a chart signals for who has learnt and seldom for who has not, and level
// trainees are not given a rise.
func TestRealDrillsShowWhatWasLearnt(t *testing.T) {
	text, err := os.ReadFile("../testdata/scenario.yaml")
	if err != nil {
		t.Fatal(err)
	}
	sc, err := script.Parse("scenario.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	if text, err = os.ReadFile("../testdata/played.yaml"); err != nil {
		t.Fatal(err)
	}
	r, err := rubric.Parse("played.yaml", text, rubric.NamesOf(sc))
	if err != nil {
		t.Fatal(err)
	}
	const trainees, drills, rate = 12, 30, .15
	chart, err := cusum.Limit(.10, .50, drills, .05)
	if err != nil {
		t.Fatal(err)
	}
	learning := func(i int) float64 { return .95 - .75*math.Exp(-rate*float64(i)) }
	stuck := func(int) float64 { return .50 }
	var cohort []curve.Trainee
	learnt, falsely := 0, 0
	for k := range trainees {
		levels, missed := drilled(t, sc, r, learning, drills, uint64(1000+100*k))
		tr := curve.Trainee{Name: fmt.Sprint(k)}
		for i, y := range levels {
			tr.Points = append(tr.Points, curve.Point{X: float64(i), Y: y})
		}
		cohort = append(cohort, tr)
		if chart.Follow(missed).Signal > 0 {
			learnt++
		}
		if _, missed = drilled(t, sc, r, stuck, drills, uint64(9000+100*k)); chart.Follow(missed).Signal > 0 {
			falsely++
		}
	}
	if learnt < trainees*2/3 || falsely > 3 {
		t.Errorf("the chart signalled for %d of %d who learnt and for %d of %d who did not", learnt, trainees, falsely, trainees)
	}
	c, err := curve.FitCohort(cohort, false)
	var not *curve.NotYet
	if errors.As(err, &not) {
		t.Fatalf("no curve: %v", err)
	} else if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v; the chart signalled for %d of %d, falsely for %d", c, learnt, trainees, falsely)
	if math.Abs(c.LogRate-math.Log(rate)) > 3*c.LogRateError || c.Plateau < c.Start+1 {
		t.Errorf("put in rate %g, found %v", rate, c)
	}
}
