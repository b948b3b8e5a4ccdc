package casemix

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Comparison is how an observed number of events stands to the number expected of the same cases.
type Comparison struct {
	Observed   int
	Expected   float64
	Difference float64  // observed less expected, in events
	Ratio      float64  // observed over expected
	Exact      Interval // of the ratio, from the Poisson distribution (Garwood 1936)
	Byar       Interval // of the ratio, Byar's approximation (Breslow and Day 1987, from memory)
}

// Compare compares observed events with the sum of the predicted risks, with intervals of the
// ratio at a confidence level. The expected number counts as known: error in the predictions is
// not in the intervals, and events count as Poisson, which is cautious for risks that are not
// small. It is an error unless observed is 0 or more, expected above 0 and finite, and the level
// within 0..1.
func Compare(observed int, expected, level float64) (Comparison, error) {
	switch {
	case observed < 0 || observed > 1_000_000_000:
		return Comparison{}, fmt.Errorf("%d observed events is impossible", observed)
	case !(expected > 0 && expected < 1e12):
		return Comparison{}, fmt.Errorf("%g expected events compare with nothing: give a number above 0", expected)
	case !(level > 0 && level < 1):
		return Comparison{}, fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	tail, x := (1-level)/2, float64(observed)
	c := Comparison{Observed: observed, Expected: expected, Difference: x - expected, Ratio: x / expected}
	if observed > 0 {
		c.Exact.Low = gammaQuantile(x, tail) / expected
	}
	c.Exact.High = gammaQuantile(x+1, 1-tail) / expected
	z := distuv.UnitNormal.Quantile(1 - tail)
	byar := func(k, sign float64) float64 {
		return k * math.Pow(1-1/(9*k)+sign*z/(3*math.Sqrt(k)), 3) / expected
	}
	if observed > 0 {
		c.Byar.Low = math.Max(0, byar(x, -1))
	}
	c.Byar.High = byar(x+1, 1)
	return c, nil
}

// Expected adds up predicted risks. It is an error when one is outside 0..1.
func Expected(risks []float64) (float64, error) {
	sum := 0.0
	for i, p := range risks {
		if !(p >= 0 && p <= 1) {
			return 0, fmt.Errorf("case %d has predicted risk %g: give a probability, 0 to 1", i+1, p)
		}
		sum += p
	}
	return sum, nil
}

// gammaQuantile is the quantile of the gamma distribution of the given shape and rate 1, polished
// by Newton steps as [betaQuantile] is.
func gammaQuantile(shape, p float64) float64 {
	x := mathext.GammaIncRegInv(shape, p)
	lgamma, _ := math.Lgamma(shape)
	for range 3 {
		density := math.Exp((shape-1)*math.Log(x) - x - lgamma)
		next := x - (mathext.GammaIncReg(shape, x)-p)/density
		if !(next > 0) || math.IsInf(next, 0) {
			return x
		}
		x = next
	}
	return x
}
