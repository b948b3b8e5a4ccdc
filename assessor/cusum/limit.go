package cusum

import (
	"fmt"
	"math"
)

// Step is the grid of the limits that [Limit] gives: a limit is printed and read with two
// decimals, so it is chosen among those.
const Step = 0.01

// Limit finds the smallest limit, in steps of [Step], whose probability of a false signal within
// n drills is at most falseSignal, and returns the chart with both its probabilities. The
// probability falls in jumps as the limit rises, so the chart's own FalseSignal may be somewhat
// smaller than asked.
//
// It is an error when the failure rates make no chart, when falseSignal is not within 0..1, and
// when n drills are too few for any chart: when even n successes in a row come from an inadequate
// trainee more often than falseSignal.
func Limit(p0, p1 float64, n int, falseSignal float64) (Chart, error) {
	c := Chart{Adequate: p0, Inadequate: p1, H: Step, Drills: n}
	if err := c.check(); err != nil {
		return Chart{}, err
	}
	if !(falseSignal > 0 && falseSignal < 1) {
		return Chart{}, fmt.Errorf("false-signal probability %g is outside 0..1: write 0.05 for one in twenty", falseSignal)
	}
	if lucky := math.Pow(1-p1, float64(n)); lucky > falseSignal {
		need := int(math.Ceil(math.Log(falseSignal) / math.Log1p(-p1)))
		return Chart{}, fmt.Errorf("%d drills are too few: an inadequate trainee succeeds in all of them with probability %.3f, more than %g; state the limit over at least %d", n, lucky, falseSignal, need)
	}
	success, _ := c.Weights()
	// Above n successes in a row nothing signals; at step 0 everything does.
	h := smallest(int(float64(n)*success/Step)+1, func(h float64) bool {
		c.H = h
		return c.Within(p1, n) <= falseSignal
	})
	c, err := New(p0, p1, h, n)
	if err == nil && c.TrueSignal == 0 {
		return Chart{}, fmt.Errorf("no limit in steps of %g signals at all within %d drills at a false-signal probability of %g; allow more drills or more false signals", Step, n, falseSignal)
	}
	return c, err
}

// smallest finds the smallest multiple of Step, at most high steps, at which good holds; good
// holds at the highest and, once it holds, goes on holding.
func smallest(high int, good func(h float64) bool) float64 {
	low := 0
	for high-low > 1 {
		middle := (low + high) / 2
		if good(float64(middle) * Step) {
			high = middle
		} else {
			low = middle
		}
	}
	return float64(high) * Step
}
