package calibrate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// seen counts how often a 95 % interval, estimate plus and minus 1.96 standard errors, holds the
// truth, how far estimates are off on average, and how much they stretch the truth.
type seen struct{ n, held, off, along, truth float64 }

func (s *seen) add(e Estimate, truth float64) {
	s.n++
	s.off += e.Value - truth
	s.along += e.Value * truth
	s.truth += truth * truth
	if math.Abs(e.Value-truth) <= 1.959963984540054*e.Error {
		s.held++
	}
}

func (s *seen) String() string {
	return fmt.Sprintf("covered %.2f %%, mean error %+.4f, stretch %.4f, %d intervals", 100*s.held/s.n, s.off/s.n, s.along/s.truth, int(s.n))
}

func (s *seen) check(t *testing.T, what string, slack, bias, stretch float64) string {
	t.Helper()
	if share := s.held / s.n; share < .93-slack || share > .97+slack || math.Abs(s.off/s.n) > bias || math.Abs(s.along/s.truth-1) > stretch {
		t.Errorf("%s: %v", what, s)
	}
	return fmt.Sprintf("%-56s %v", what, s)
}

// centredTruth is thresholds moved to the origin of a scale.
func centredTruth(thresholds [][]float64) [][]float64 {
	sum, n := 0.0, 0.0
	for _, row := range thresholds {
		for _, v := range row {
			sum += v
			n++
		}
	}
	var out [][]float64
	for _, row := range thresholds {
		var moved []float64
		for _, v := range row {
			moved = append(moved, v-sum/n)
		}
		out = append(out, moved)
	}
	return out
}

// recovered calibrates n simulated cohorts and compares thresholds and abilities with the truth.
func recovered(t *testing.T, n int, model func([][]float64) (*Scale, error), thresholds [][]float64, persons int, gaps float64) (items, warm seen, refused int) {
	truth := centredTruth(thresholds)
	for k := range n {
		random := rand.New(rand.NewPCG(2026, uint64(k)))
		x := cohort(random, persons, truth, 1, gaps)
		// One more person of known ability, 0.7, who answers all.
		var own []float64
		for _, tau := range truth {
			own = append(own, draw(random, .7, tau))
		}
		s, err := model(append(x, own))
		if err != nil {
			refused++
			continue
		}
		for i, item := range s.Items {
			for h, e := range item.Thresholds {
				items.add(e, truth[i][h])
			}
		}
		warm.add(s.Persons[persons].Warm, .7)
	}
	return items, warm, refused
}

// Known parameters are recovered and their intervals cover. ZONULE_LONG=1 takes 2,000 cohorts of
// each and logs the table kept in testdata/statistics/calibration_coverage.txt.
func TestCalibrationRecoversWhatWasSimulated(t *testing.T) {
	n, slack := 30, .06
	if os.Getenv("ZONULE_LONG") != "" {
		n, slack = 2000, 0
	} else if testing.Short() {
		t.Skip("simulation")
	}
	var dichotomous [][]float64
	for i := range 15 {
		dichotomous = append(dichotomous, []float64{-2 + 4*float64(i)/14})
	}
	var lines []string
	for _, c := range []struct {
		name       string
		model      func([][]float64) (*Scale, error)
		thresholds [][]float64
		gaps       float64
	}{
		{"Rasch 200 x 15", Rasch, dichotomous, 0},
		{"Rasch 200 x 15, 20 % missing", Rasch, dichotomous, .2},
		{"partial credit 200 x 10 x 4", PartialCredit, steps(10, 1.2), 0},
		{"partial credit 200 x 10 x 4, 20 % missing", PartialCredit, steps(10, 1.2), .2},
		{"rating scale 200 x 10 x 4, 20 % missing", RatingScale, steps(10, 1.2), .2},
	} {
		items, warm, refused := recovered(t, n, c.model, c.thresholds, 200, c.gaps)
		lines = append(lines, items.check(t, c.name+", thresholds", slack/2, .02, .05+slack),
			warm.check(t, c.name+", ability 0.7", 2*slack, .03+slack*3, .05+5*slack), fmt.Sprintf("    %d of %d cohorts gave no scale", refused, n))
		if refused > n/20 {
			t.Errorf("%s: %d of %d cohorts refused", c.name, refused, n)
		}
	}
	lines = append(lines, recoveredSeverity(t, n, slack)...)
	t.Logf("%d cohorts of each, seed 2026, 95 %% intervals\n%s", n, strings.Join(lines, "\n"))
}

// recoveredSeverity: 60 persons, each rated on 4 items by 2 of 5 raters, scores 0..3.
func recoveredSeverity(t *testing.T, n int, slack float64) []string {
	item, rater, step := []float64{-.8, -.1, .3, .6}, []float64{-.8, -.3, 0, .3, .8}, []float64{-1.1, .1, 1}
	var items, raters, steps seen
	refused := 0
	for k := range n {
		random := rand.New(rand.NewPCG(2027, uint64(k)))
		var x []Rating
		for p := range 60 {
			theta := random.NormFloat64()
			for _, r := range []int{p % 5, (p + 1 + p/5%4) % 5} {
				for i := range item {
					var tau []float64
					for _, s := range step {
						tau = append(tau, item[i]+rater[r]+s)
					}
					x = append(x, Rating{fmt.Sprint(p), fmt.Sprint(i), fmt.Sprint(r), int(draw(random, theta, tau))})
				}
			}
		}
		f, err := Severity(x)
		if err != nil {
			refused++
			continue
		}
		for _, l := range f.Items {
			items.add(l.Measure, item[int(l.Name[0]-'0')])
		}
		for _, l := range f.Raters {
			raters.add(l.Measure, rater[int(l.Name[0]-'0')])
		}
		for h, e := range f.Steps {
			steps.add(e, step[h])
		}
	}
	if refused > n/20 {
		t.Errorf("severity: %d of %d cohorts refused", refused, n)
	}
	const name = "facets 60 x 4 x 2 of 5 raters"
	return []string{items.check(t, name+", items", slack, .02, .05+slack), raters.check(t, name+", raters", slack, .02, .05+slack),
		steps.check(t, name+", steps", slack, .03, .05+slack), fmt.Sprintf("    %d of %d cohorts gave no scale", refused, n)}
}
