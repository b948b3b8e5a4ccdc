// Package casemix says how uncertain a proportion is, and what was to be expected of the cases it
// comes from: how many of a trainee's cases or drills met an outcome, out of how many, within what
// limits the true rate may lie (this file), how two rates differ ([Difference]), how a centre of so
// many cases varies by chance ([Funnel]), what risk each case had ([Model], from a file in
// which every number says where it comes from), and how the observed compares with the expected
// ([Compare]). The risk-adjusted chart is in package cusum.
//
// A bare percentage of a few cases misleads: no event in 50 still allows a rate of 7 per cent.
// So a proportion is never reported without one of the intervals of this package. [Exact] never
// covers less often than stated and is what a report shows; [Wilson] is shorter and covers about
// as often as stated on average; [Jeffreys] is the Bayesian interval under the prior
// Beta(1/2, 1/2).
package casemix

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a range for a proportion; both ends lie in 0..1 and Low <= High, but where a function
// says otherwise.
type Interval struct{ Low, High float64 }

// String writes the interval as per cent with one decimal: "0.0 to 7.1 %".
func (i Interval) String() string {
	return fmt.Sprintf("%.1f to %.1f %%", 100*i.Low, 100*i.High)
}

// Exact returns the interval of Clopper and Pearson 1934 for events out of n at the two-sided
// confidence level (0.95 for 95 %). It is an error unless 0 <= events <= n, n >= 1 and
// 0 < level < 1.
func Exact(events, n int, level float64) (Interval, error) {
	if err := check(events, n, level); err != nil {
		return Interval{}, err
	}
	x, m, tail := float64(events), float64(n), (1-level)/2
	out := Interval{0, 1}
	if events > 0 {
		out.Low = betaQuantile(x, m-x+1, tail)
	}
	if events < n {
		out.High = betaQuantile(x+1, m-x, 1-tail)
	}
	return out, nil
}

// Wilson returns the score interval of Wilson 1927, without continuity correction. Arguments and
// errors are those of [Exact].
func Wilson(events, n int, level float64) (Interval, error) {
	if err := check(events, n, level); err != nil {
		return Interval{}, err
	}
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	x, m := float64(events), float64(n)
	p := x / m
	centre := (x + z*z/2) / (m + z*z)
	half := z / (m + z*z) * math.Sqrt(m*p*(1-p)+z*z/4)
	out := Interval{math.Max(0, centre-half), math.Min(1, centre+half)}
	// At the two ends the formula gives 0 and 1 but for rounding.
	if events == 0 {
		out.Low = 0
	}
	if events == n {
		out.High = 1
	}
	return out, nil
}

// Jeffreys returns the equal-tailed interval of the posterior Beta(events+1/2, n-events+1/2).
// With no events its lower end stands a little above 0 (and its upper end a little under 1 when
// all are events); [JeffreysModified] repairs that. Arguments and errors are those of [Exact].
func Jeffreys(events, n int, level float64) (Interval, error) {
	if err := check(events, n, level); err != nil {
		return Interval{}, err
	}
	a, b, tail := float64(events)+0.5, float64(n-events)+0.5, (1-level)/2
	return Interval{betaQuantile(a, b, tail), betaQuantile(a, b, 1-tail)}, nil
}

// JeffreysModified is [Jeffreys] with the lower end set to 0 when there are no events and the
// upper end to 1 when all are events (Brown, Cai and DasGupta 2001, Stat Sci 16:101-33).
func JeffreysModified(events, n int, level float64) (Interval, error) {
	out, err := Jeffreys(events, n, level)
	if err != nil {
		return out, err
	}
	if events == 0 {
		out.Low = 0
	}
	if events == n {
		out.High = 1
	}
	return out, nil
}

// WilsonCorrected is [Wilson] with the continuity correction (R's prop.test): wider, and seldom
// covering less often than stated. Arguments and errors are those of [Exact].
func WilsonCorrected(events, n int, level float64) (Interval, error) {
	if err := check(events, n, level); err != nil {
		return Interval{}, err
	}
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	x, m := float64(events), float64(n)
	p := x / m
	end := func(sign float64) float64 {
		c := p + sign*math.Min(0.5, math.Abs(x-m/2))/m
		return (c + z*z/(2*m) + sign*z*math.Sqrt(c*(1-c)/m+z*z/(4*m*m))) / (1 + z*z/m)
	}
	out := Interval{math.Max(0, end(-1)), math.Min(1, end(1))}
	if events == 0 {
		out.Low = 0
	}
	if events == n {
		out.High = 1
	}
	return out, nil
}

// AgrestiCoull is the interval of Agresti and Coull 1998 (Am Stat 52:119-26): the textbook formula
// at the share that z*z/2 more of each outcome would give. The textbook formula can pass 0 or 1;
// its ends are given as they come, not cut. Arguments and errors are those of [Exact].
func AgrestiCoull(events, n int, level float64) (Interval, error) {
	if err := check(events, n, level); err != nil {
		return Interval{}, err
	}
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	m := float64(n) + z*z
	p := (float64(events) + z*z/2) / m
	half := z * math.Sqrt(p*(1-p)/m)
	return Interval{p - half, p + half}, nil
}

// Difference is the interval for the first rate less the second by method 10 of Newcombe 1998
// (Stat Med 17:873-90), from the two Wilson intervals; the samples are independent. Errors are
// those of [Exact] for either sample.
func Difference(events1, n1, events2, n2 int, level float64) (estimate float64, interval Interval, err error) {
	a, err := Wilson(events1, n1, level)
	if err != nil {
		return 0, Interval{}, err
	}
	b, err := Wilson(events2, n2, level)
	if err != nil {
		return 0, Interval{}, err
	}
	p, q := float64(events1)/float64(n1), float64(events2)/float64(n2)
	return p - q, Interval{
		Low:  p - q - math.Hypot(p-a.Low, b.High-q),
		High: p - q + math.Hypot(a.High-p, q-b.Low),
	}, nil
}

func check(events, n int, level float64) error {
	switch {
	case n < 1:
		return fmt.Errorf("a proportion needs at least one case, not %d", n)
	case events < 0 || events > n:
		return fmt.Errorf("%d events out of %d cases is impossible: give 0 to %d", events, n, n)
	case !(level > 0 && level < 1):
		return fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	return nil
}

// betaQuantile is the quantile of Beta(a, b). The library's inverse is good to about 1e-8
// absolute; two Newton steps on the regularised incomplete beta function bring it to rounding.
func betaQuantile(a, b, p float64) float64 {
	x := mathext.InvRegIncBeta(a, b, p)
	lbeta := mathext.Lbeta(a, b)
	for range 3 {
		if x <= 0 || x >= 1 {
			return x
		}
		density := math.Exp((a-1)*math.Log(x) + (b-1)*math.Log1p(-x) - lbeta)
		next := x - (mathext.RegIncBeta(a, b, x)-p)/density
		if !(next > 0 && next < 1) {
			return x
		}
		x = next
	}
	return x
}
