package casemix

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Limits is the range in which the rate of so many cases falls by chance alone when the true rate
// is the target: outside it with probability Outside at most about (shared between both sides).
type Limits struct {
	N       int
	Target  float64
	Outside float64
	// Low and High are the rates of the binomial quantiles: whole numbers of events over N.
	Low, High float64
	// SmoothLow and SmoothHigh interpolate between whole numbers of events (Spiegelhalter 2005,
	// Stat Med 24:1185-202, appendix, from memory), cut to 0..1: for drawing.
	SmoothLow, SmoothHigh float64
	// NormalLow and NormalHigh are the normal approximation, not cut. It is poor where N times
	// the target is small: compare.
	NormalLow, NormalHigh float64
}

// Funnel gives the limits for n cases at a target rate. It is an error unless n is 1 to 10,000,000,
// 0 < target < 1 and 0 < outside < 1.
func Funnel(n int, target, outside float64) (Limits, error) {
	switch {
	case n < 1 || n > 10_000_000:
		return Limits{}, fmt.Errorf("limits are for 1 to 10,000,000 cases, not %d", n)
	case !(target > 0 && target < 1):
		return Limits{}, fmt.Errorf("target rate %g is not above 0 and below 1", target)
	case !(outside > 0 && outside < 1):
		return Limits{}, fmt.Errorf("the probability of falling outside, %g, is not above 0 and below 1: write 0.05 for one in twenty", outside)
	}
	b := distuv.Binomial{N: float64(n), P: target}
	l := Limits{N: n, Target: target, Outside: outside}
	l.Low, l.SmoothLow = quantile(b, outside/2)
	l.High, l.SmoothHigh = quantile(b, 1-outside/2)
	half := distuv.UnitNormal.Quantile(1-outside/2) * math.Sqrt(target*(1-target)/float64(n))
	l.NormalLow, l.NormalHigh = target-half, target+half
	return l, nil
}

// quantile is the smallest share r/n with P(R <= r) >= p, and the share interpolated by how far
// the distribution function overshoots there.
func quantile(b distuv.Binomial, p float64) (share, smooth float64) {
	low, high := -1, int(b.N)
	for high-low > 1 {
		middle := (low + high) / 2
		if b.CDF(float64(middle)) >= p {
			high = middle
		} else {
			low = middle
		}
	}
	r := float64(high)
	over := (b.CDF(r) - p) / b.Prob(r)
	return r / b.N, math.Min(1, math.Max(0, (r-over)/b.N))
}
