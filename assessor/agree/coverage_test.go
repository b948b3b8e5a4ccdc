package agree

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// trial is a study repeated with known variances.
type trial struct {
	design                 Design
	persons, items, raters int
	variances              []float64
	gaps                   float64
	// Covered stands between these two, as measured; 93 to 97 % unless the row of
	// components_coverage.txt says why not.
	least, most float64
}

var trials = []trial{
	{ByItem, 30, 8, 1, []float64{1, .3, 2}, 0, .93, .97},
	{ByRater, 20, 1, 3, []float64{1, .3, 1}, 0, .93, .97},
	{Crossed, 20, 5, 3, []float64{1, .3, .2, .5, .2, .1, 1}, 0, .93, .97},
	{Nested, 20, 4, 3, []float64{1, .3, .2, .5, 1}, 0, .93, .97},
	{ByItem, 30, 8, 1, []float64{1, .3, 2}, .2, .93, .97},
	{ByRater, 30, 1, 4, []float64{1, .3, 1}, .2, .93, .97},
	{Crossed, 20, 6, 4, []float64{1, .5, .3, .5, .3, .2, 1}, .2, .93, .97},
}

// coverage counts, for each component, how many of n cohorts have an interval that holds the truth,
// and the mean estimate.
func (c trial) coverage(t *testing.T, n int, seed uint64) (share, mean []float64, refused int) {
	t.Helper()
	k := len(c.variances)
	share, mean = make([]float64, k), make([]float64, k)
	done := 0
	for cohortNumber := range n {
		random := rand.New(rand.NewPCG(seed, uint64(cohortNumber)))
		s, err := Generalize(cohort(random, c.design, c.persons, c.items, c.raters, c.variances, c.gaps), c.design)
		var ranges []Range
		if err == nil {
			ranges, err = s.Intervals(.95)
		}
		if err != nil {
			refused++
			continue
		}
		done++
		for j, r := range ranges {
			if r.Low <= c.variances[j] && c.variances[j] <= r.High {
				share[j]++
			}
			mean[j] += s.Components[j].Variance
		}
	}
	for j := range share {
		share[j] /= float64(done)
		mean[j] /= float64(done)
	}
	return share, mean, refused
}

// Intervals of components cover as often as they say, over many simulated cohorts. ZONULE_LONG=1
// runs 2,000 of each study and logs the table that is kept in
// testdata/statistics/components_coverage.txt; otherwise 60 of each are looked at loosely.
func TestComponentsAreCovered(t *testing.T) {
	n, loose := 60, .12
	if os.Getenv("ZONULE_LONG") != "" {
		n, loose = 2000, 0
	} else if testing.Short() {
		t.Skip("simulation")
	}
	for k, c := range trials {
		if n < 2000 && c.gaps > 0 && c.design == Crossed {
			continue
		}
		name := fmt.Sprintf("%d %v", k+1, c.design)
		t.Run(name, func(t *testing.T) {
			share, mean, refused := c.coverage(t, n, 20_26)
			var lines []string
			for j, name := range c.design.Components() {
				lines = append(lines, fmt.Sprintf("%-10s %3d x %d x %d  gaps %2.0f %%  %-7s true %.2f  mean estimate %.3f  covered %.2f %%",
					c.design, c.persons, c.items, c.raters, 100*c.gaps, name, c.variances[j], mean[j], 100*share[j]))
				if share[j] < c.least-loose || share[j] > c.most+loose {
					t.Errorf("%s", lines[len(lines)-1])
				}
			}
			if refused > n/100 {
				t.Errorf("%v: %d of %d cohorts refused", c.design, refused, n)
			}
			t.Logf("%d cohorts, seed 2026, 95 %% intervals, %d cohorts gave no interval\n%s", n, refused, strings.Join(lines, "\n"))
		})
	}
}
