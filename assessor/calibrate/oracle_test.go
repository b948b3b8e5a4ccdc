package calibrate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// cohort draws responses of persons with abilities N(0, spread) to items with the given thresholds
// under the partial-credit model, and leaves out a share of them.
func cohort(random *rand.Rand, persons int, thresholds [][]float64, spread, gaps float64) [][]float64 {
	out := make([][]float64, persons)
	for p := range out {
		theta := spread * random.NormFloat64()
		for _, tau := range thresholds {
			out[p] = append(out[p], draw(random, theta, tau))
			if random.Float64() < gaps {
				out[p][len(out[p])-1] = math.NaN()
			}
		}
	}
	return out
}

func draw(random *rand.Rand, theta float64, tau []float64) float64 {
	beta := cumulated([]int{len(tau)}, tau)[0]
	p := make([]float64, len(tau)+1)
	probabilities(beta, theta, p)
	u := random.Float64()
	for h, v := range p {
		if u -= v; u < 0 {
			return float64(h)
		}
	}
	return float64(len(tau))
}

// brute is the conditional log-likelihood by listing every response vector.
func brute(t *table, beta [][]float64) float64 {
	sum := 0.0
	for p, x := range t.x {
		if !t.informative(p) {
			continue
		}
		total, _, _ := t.total(p)
		var columns []int
		own := 0.0
		for c, v := range x {
			if v == absent {
				continue
			}
			columns = append(columns, c)
			if v > 0 {
				own -= beta[c][v-1]
			}
		}
		gamma := 0.0
		var list func(k, left int, logp float64)
		list = func(k, left int, logp float64) {
			if k == len(columns) {
				if left == 0 {
					gamma += math.Exp(logp)
				}
				return
			}
			list(k+1, left, logp)
			for h, b := range beta[columns[k]] {
				if h+1 <= left {
					list(k+1, left-h-1, logp-b)
				}
			}
		}
		list(0, total, 0)
		sum += own - math.Log(gamma)
	}
	return sum
}

// The likelihood by convolution is the likelihood by listing; its slope and information are the
// derivatives of it.
func TestConditionalLikelihoodIsTheListedOne(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 3))
	for trial := range 6 {
		thresholds := make([][]float64, 5)
		for i := range thresholds {
			for range 1 + random.IntN(3) {
				thresholds[i] = append(thresholds[i], 1.5*random.NormFloat64())
			}
		}
		x, err := scored(cohort(random, 30, thresholds, 1, .2*float64(trial%2)))
		if err != nil {
			t.Fatal(err)
		}
		betas := 0
		for _, top := range x.top {
			betas += top
		}
		c := newConditional(x, betas, func(column, h int) []weight {
			at := 0
			for _, top := range x.top[:column] {
				at += top
			}
			return []weight{{at + h - 1, 1}}
		})
		free := make([]float64, betas)
		for k := range free {
			free[k] = random.NormFloat64()
		}
		shaped := func(free []float64) [][]float64 {
			var out [][]float64
			for i, top := range x.top {
				out = append(out, free[c.first[i]:c.first[i]+top])
			}
			return out
		}
		got := c.at(free, exact)
		near(t, fmt.Sprintf("trial %d", trial), got.value, brute(x, shaped(free)), 1e-9)
		const step = 1e-5
		for k := range free {
			up, down := append([]float64(nil), free...), append([]float64(nil), free...)
			up[k] += step
			down[k] -= step
			a, b := c.at(up, slope), c.at(down, slope)
			near(t, "slope", got.slope[k], (a.value-b.value)/(2*step), 1e-5)
			for j := range free {
				near(t, "information", got.information.At(k, j), -(a.slope[j]-b.slope[j])/(2*step), 1e-5)
			}
		}
	}
}

// Many columns far from underflow: the sums hold for 500 items and any total.
func TestSumsHoldForManyColumns(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	thresholds := make([][]float64, 500)
	for i := range thresholds {
		thresholds[i] = []float64{3 * random.NormFloat64()}
	}
	s, err := Rasch(cohort(random, 300, thresholds, 2, 0))
	if err != nil {
		t.Skip("an item was met or missed by all: ", err)
	}
	if !finite(s.LogLikelihood) {
		t.Error(s.LogLikelihood)
	}
}

// Two items have an explicit answer: the difference is the log ratio of the persons who met one
// only, with variance the sum of the reciprocals.
func TestTwoItemsByHand(t *testing.T) {
	var x [][]float64
	for range 24 {
		x = append(x, []float64{1, 0})
	}
	for range 8 {
		x = append(x, []float64{0, 1})
	}
	x = append(x, []float64{1, 1}, []float64{0, 0}, []float64{math.NaN(), 1})
	s, err := Rasch(x)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "difference", s.Items[1].Location.Value-s.Items[0].Location.Value, math.Log(3), 1e-9)
	near(t, "error", s.Items[0].Location.Error, math.Sqrt(1./24+1./8)/2, 1e-9)
	near(t, "log-likelihood", s.LogLikelihood, 24*math.Log(.75)+8*math.Log(.25), 1e-9)
	if s.Informative != 32 || s.Persons[32].Likelihood != nil || s.Persons[34].Answered != 1 {
		t.Errorf("%d informative, %+v", s.Informative, s.Persons[32:])
	}
}

// What must be true: renaming persons or items changes nothing; two copies of the persons halve the
// squared errors; the three models agree where they are the same model.
func TestScalesKeepTheirIdentities(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	x := cohort(random, 150, [][]float64{{-1}, {0}, {.5}, {1}}, 1, .1)
	a, err := Rasch(x)
	if err != nil {
		t.Fatal(err)
	}
	twice, err := Rasch(append(append([][]float64{}, x...), x...))
	if err != nil {
		t.Fatal(err)
	}
	partial, err := PartialCredit(x)
	if err != nil {
		t.Fatal(err)
	}
	rating, err := RatingScale(x)
	if err != nil {
		t.Fatal(err)
	}
	back := make([][]float64, len(x))
	for p, row := range x {
		back[len(x)-1-p] = []float64{row[3], row[2], row[1], row[0]}
	}
	turned, err := Rasch(back)
	if err != nil {
		t.Fatal(err)
	}
	for i, item := range a.Items {
		near(t, "twice", twice.Items[i].Location.Value, item.Location.Value, 1e-8)
		near(t, "twice error", twice.Items[i].Location.Error*math.Sqrt2, item.Location.Error, 1e-8)
		near(t, "partial credit", partial.Items[i].Location.Value, item.Location.Value, 1e-8)
		near(t, "rating scale", rating.Items[i].Location.Value, item.Location.Value, 1e-8)
		near(t, "turned", turned.Items[3-i].Location.Value, item.Location.Value, 1e-8)
	}
	if len(rating.Steps) != 1 || rating.Steps[0].Value != 0 {
		t.Errorf("steps of a binary scale: %v", rating.Steps)
	}
	moved, err := a.From([][]float64{{1}, {0}, {0}, {0}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "origin", moved.Items[0].Location.Value, 0, 0)
	near(t, "error of the origin", moved.Items[0].Location.Error, 0, 1e-9)
	for p := range a.Persons {
		near(t, "distance", moved.Persons[p].Warm.Value-moved.Items[2].Location.Value, a.Persons[p].Warm.Value-a.Items[2].Location.Value, 1e-8)
	}
	if _, err := a.From([][]float64{{1}, {1}, {0}, {0}}); err == nil {
		t.Error("weights that sum to 2 were accepted")
	}
}

// The information to first order, which stands in for the exact one when that would take minutes, is
// within one per cent in standard errors at 60 items.
func TestRoughInformationIsCloseForManyItems(t *testing.T) {
	x, err := scored(cohort(rand.New(rand.NewPCG(7, 7)), 300, steps(60, 1), 1, 0))
	if err != nil {
		t.Fatal(err)
	}
	c := newConditional(x, len(x.top)-1, func(column, h int) []weight { return onAllButFirst(column, float64(h)) })
	free := make([]float64, c.free)
	a, b := c.at(free, exact), c.at(free, approximate)
	for k := range c.free {
		near(t, "information", b.information.At(k, k)/a.information.At(k, k), 1, .02)
	}
}
