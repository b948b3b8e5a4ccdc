package cusum

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// The score of the risk-adjusted chart takes too many values to be enumerated, so it is followed
// on a grid (Brook and Evans 1972, Biometrika 59:539-49): a score between two grid points is
// shared out between them so that its mean is kept. With this many points run lengths come within
// about 0.1 % (risk_test.go compares with finer grids and with simulation).
const grid = 2000

// coarse is the grid a limit is first looked for on.
const coarse = 300

// longest bounds how many cases a run length is followed for.
const longest = 200_000

// chain is the chart on its grid for one mix and one true odds multiplier.
type chain struct {
	steps   []step
	density []float64 // probability of each grid point, no signal so far
	next    []float64
}

// step is one move by whole grid points, and its probability.
type step struct {
	by int
	p  float64
}

func (c RiskAdjusted) chain(m Mix, odds float64, points int) (*chain, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	if err := m.check(); err != nil {
		return nil, err
	}
	if !(odds > 0) || math.IsInf(odds, 0) {
		return nil, fmt.Errorf("true odds multiplier %g: give a number above 0", odds)
	}
	// Every case and outcome moves by a whole number of points or by one more, so that moves of many
	// cases fall together.
	chances := map[int]float64{}
	for _, s := range m {
		failure, success := c.Weights(s.Risk)
		fails := odds * s.Risk / (1 - s.Risk + odds*s.Risk)
		for _, v := range []struct{ weight, p float64 }{{failure, fails}, {success, 1 - fails}} {
			points := float64(points)
			at := math.Max(-points, math.Min(points, v.weight/c.H*points))
			whole := math.Floor(at)
			chances[int(whole)] += s.Share * v.p * (1 - (at - whole))
			chances[int(whole)+1] += s.Share * v.p * (at - whole)
		}
	}
	out := &chain{density: make([]float64, points), next: make([]float64, points)}
	for by, p := range chances {
		out.steps = append(out.steps, step{by, p})
	}
	slices.SortFunc(out.steps, func(a, b step) int { return a.by - b.by }) // so that sums are the same each time
	out.density[0] = 1
	return out, nil
}

// take takes one case and returns the probability that it signals.
func (c *chain) take() float64 {
	signal, points := 0.0, len(c.density)
	clear(c.next)
	for _, s := range c.steps {
		if s.p == 0 {
			continue
		}
		low := min(points, max(0, -s.by))        // under this the move ends at 0
		high := max(0, min(points, points-s.by)) // from this on it signals
		for _, mass := range c.density[:low] {
			c.next[0] += s.p * mass
		}
		for _, mass := range c.density[high:] {
			signal += s.p * mass
		}
		if low < high {
			to := c.next[low+s.by:]
			for i, mass := range c.density[low:high] {
				to[i] += s.p * mass
			}
		}
	}
	c.density, c.next = c.next, c.density
	return signal
}

// Within is the probability that the chart signals within n cases (1..10,000) drawn from the mix
// when the true odds of failure are odds times those predicted; about 0.1 % off at most for charts
// in use. It is an error when chart, mix, odds or n is none.
func (c RiskAdjusted) Within(m Mix, odds float64, n int) (float64, error) {
	if err := checkSpan(n); err != nil {
		return 0, err
	}
	return c.within(m, odds, n, grid)
}

func (c RiskAdjusted) within(m Mix, odds float64, n, points int) (float64, error) {
	k, err := c.chain(m, odds, points)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for range n {
		sum += k.take()
	}
	return math.Min(sum, 1), nil
}

// ARL is the mean number of cases to a signal under the mix and the true odds multiplier, to about
// 0.1 %. The chain is followed until the hazard of a signal has settled; from there on the run
// length is geometric. It is an error when that does not happen within 200,000 cases.
func (c RiskAdjusted) ARL(m Mix, odds float64) (float64, error) {
	k, err := c.chain(m, odds, grid)
	if err != nil {
		return 0, err
	}
	arl, alive, before, calm := 0.0, 1.0, -1.0, 0
	for range longest {
		arl += alive
		signal := k.take()
		hazard := signal / alive
		if alive -= signal; alive < 1e-14 {
			return arl, nil
		}
		if hazard > 0 && math.Abs(hazard/before-1) < 1e-9 {
			if calm++; calm >= 20 {
				return arl + alive/hazard, nil
			}
		} else {
			calm = 0
		}
		before = hazard
	}
	return 0, errors.New("the chart signals too seldom for its mean run length to be computed; lower the limit")
}

// LimitRiskAdjusted finds the smallest limit, in steps of [Step], whose probability of a false
// signal (at the null odds) within n cases of the mix is at most falseSignal. It is an error when
// chart, mix or n is none, falseSignal is outside 0..1, or no limit up to 20 does.
func LimitRiskAdjusted(null, alternative float64, m Mix, n int, falseSignal float64) (RiskAdjusted, error) {
	c := RiskAdjusted{Null: null, Alternative: alternative, H: Step}
	if _, err := c.Within(m, null, n); err != nil {
		return c, err
	}
	if !(falseSignal > 0 && falseSignal < 1) {
		return c, fmt.Errorf("false-signal probability %g is outside 0..1: write 0.05 for one in twenty", falseSignal)
	}
	const most = 20
	at := func(h float64, points int) bool {
		p, err := RiskAdjusted{Null: null, Alternative: alternative, H: h}.within(m, null, n, points)
		return err == nil && p <= falseSignal
	}
	if !at(most, grid) {
		return c, fmt.Errorf("no limit up to %d keeps false signals within %d cases to %g; allow more false signals or fewer cases", most, n, falseSignal)
	}
	steps := int(math.Round(smallest(int(most/Step), func(h float64) bool { return at(h, coarse) }) / Step))
	for !at(float64(steps)*Step, grid) {
		steps++
	}
	for steps > 1 && at(float64(steps-1)*Step, grid) {
		steps--
	}
	c.H = float64(steps) * Step
	return c, nil
}
