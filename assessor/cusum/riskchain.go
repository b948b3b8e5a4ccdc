package cusum

import (
	"errors"
	"fmt"
	"math"
)

// The score of the risk-adjusted chart takes too many values to be enumerated, so it is followed
// on a grid (Brook and Evans 1972, Biometrika 59:539-49): a score between two grid points is
// shared out between them so that its mean is kept. With this many points run lengths come within
// about 0.1 % (risk_test.go compares with finer grids and with simulation).
const grid = 2000

// longest bounds how many cases a run length is followed for.
const longest = 200_000

// chain is the chart on its grid for one mix and one true odds multiplier.
type chain struct {
	move    []move
	density []float64 // probability of each grid point, no signal so far
	next    []float64
}

// move is one kind of case and outcome: its probability and its step in grid units.
type move struct {
	p     float64
	whole int
	part  float64 // of the way to whole+1
}

func (c RiskAdjusted) chain(m Mix, odds float64) (*chain, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	if err := m.check(); err != nil {
		return nil, err
	}
	if !(odds > 0) || math.IsInf(odds, 0) {
		return nil, fmt.Errorf("true odds multiplier %g: give a number above 0", odds)
	}
	out := &chain{density: make([]float64, grid), next: make([]float64, grid)}
	out.density[0] = 1
	for _, s := range m {
		failure, success := c.Weights(s.Risk)
		fails := odds * s.Risk / (1 - s.Risk + odds*s.Risk)
		for _, v := range []struct{ weight, p float64 }{{failure, fails}, {success, 1 - fails}} {
			steps := v.weight / c.H * grid
			whole := math.Floor(steps)
			out.move = append(out.move, move{s.Share * v.p, int(math.Max(-grid, math.Min(grid, whole))), steps - whole})
		}
	}
	return out, nil
}

// step takes one case and returns the probability that it signals.
func (c *chain) step() float64 {
	signal := 0.0
	clear(c.next)
	for _, m := range c.move {
		lower, upper := m.p*(1-m.part), m.p*m.part
		for i, mass := range c.density {
			if mass == 0 {
				continue
			}
			for _, to := range [2]struct {
				at int
				p  float64
			}{{i + m.whole, lower * mass}, {i + m.whole + 1, upper * mass}} {
				switch {
				case to.at >= grid:
					signal += to.p
				case to.at <= 0:
					c.next[0] += to.p
				default:
					c.next[to.at] += to.p
				}
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
	k, err := c.chain(m, odds)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for range n {
		sum += k.step()
	}
	return math.Min(sum, 1), nil
}

// ARL is the mean number of cases to a signal under the mix and the true odds multiplier, to about
// 0.1 %. The chain is followed until the hazard of a signal has settled; from there on the run
// length is geometric. It is an error when that does not happen within 200,000 cases.
func (c RiskAdjusted) ARL(m Mix, odds float64) (float64, error) {
	k, err := c.chain(m, odds)
	if err != nil {
		return 0, err
	}
	arl, alive, before, calm := 0.0, 1.0, -1.0, 0
	for range longest {
		arl += alive
		signal := k.step()
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
	c.H = most
	if p, err := c.Within(m, null, n); err != nil || p > falseSignal {
		return c, fmt.Errorf("no limit up to %d keeps false signals within %d cases to %g; allow more false signals or fewer cases", most, n, falseSignal)
	}
	c.H = smallest(int(most/Step), func(h float64) bool {
		p, err := RiskAdjusted{Null: null, Alternative: alternative, H: h}.Within(m, null, n)
		return err == nil && p <= falseSignal
	})
	return c, nil
}
