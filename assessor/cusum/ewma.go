package cusum

import (
	"fmt"
	"math"
)

// EWMA is the exponentially weighted moving average chart of Roberts 1959 (Technometrics 1:239-50)
// for a measure that, on target, has mean 0 and standard deviation 1, with independent normal
// values:
//
//	Z(0) = 0,  Z(t) = (1-Lambda) Z(t-1) + Lambda x(t),
//
// and a signal when |Z| exceeds L standard deviations of Z: that of a long series,
// sqrt(Lambda/(2-Lambda)), or with Varying the exact one after t measures, which is tighter at the
// start.
type EWMA struct {
	Lambda  float64 // weight of the newest measure, 0.005..1
	L       float64 // width of the limits in standard deviations of Z, above 0
	Varying bool    // limits that widen with t
}

// leastLambda keeps the kernel within [mostNodes].
const leastLambda = 0.005

// Check says what is wrong with the chart.
func (c EWMA) Check() error {
	switch {
	case !(c.Lambda >= leastLambda && c.Lambda <= 1):
		return fmt.Errorf("weight %g of the newest measure is outside %g..1", c.Lambda, leastLambda)
	case !(c.L > 0) || math.IsInf(c.L, 0):
		return fmt.Errorf("limits of %g standard deviations make no chart: give a number above 0", c.L)
	}
	return nil
}

// Limit is the distance of the limits from 0 after t measures, t >= 1.
func (c EWMA) Limit(t int) float64 {
	variance := c.Lambda / (2 - c.Lambda)
	if c.Varying {
		variance *= -math.Expm1(2 * float64(t) * math.Log1p(-c.Lambda))
	}
	return c.L * math.Sqrt(variance)
}

// Follow gives the average after each measure and the first that signalled, counted from 1 (0:
// none). It is an error when a value is not a finite number or the chart is none.
func (c EWMA) Follow(x []float64) (z []float64, signal int, err error) {
	if err := c.Check(); err != nil {
		return nil, 0, err
	}
	at := 0.0
	for t, v := range x {
		if !finite(v) {
			return nil, 0, fmt.Errorf("value %d is %g: give finite numbers", t+1, v)
		}
		at = (1-c.Lambda)*at + c.Lambda*v
		z = append(z, at)
		if signal == 0 && math.Abs(at) > c.Limit(t+1) {
			signal = t + 1
		}
	}
	return z, signal, nil
}

// steady is the kernel between the limits of a long series.
func (c EWMA) steady(shift float64) kernel {
	limit := EWMA{Lambda: c.Lambda, L: c.L}.Limit(1)
	return kernel{low: -limit, high: limit, width: c.Lambda, density: c.density(shift)}
}

func (c EWMA) density(shift float64) func(y, x float64) float64 {
	return func(y, x float64) float64 {
		return bell((y-(1-c.Lambda)*x)/c.Lambda-shift) / c.Lambda
	}
}

// ARL is the mean number of measures to a signal when the mean stands shift standard deviations
// above target throughout, by the integral equation to about 1e-8 relative; with varying limits,
// by following the density until the limits have settled. Errors as for [Normal.ARL].
func (c EWMA) ARL(shift float64) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if !finite(shift) {
		return 0, fmt.Errorf("shift %g is not a finite number", shift)
	}
	if c.Lambda == 1 { // each measure stands alone
		return plausible(1 / (1 - (below(c.L-shift) - below(-c.L-shift))))
	}
	steady, err := c.steady(shift).solve()
	if err != nil {
		return 0, err
	}
	if !c.Varying {
		return plausible(steady.from(0))
	}
	arl, d := 1.0, c.start(shift)
	for !d.settled() {
		arl += d.mass()
		if d, err = d.next(); err != nil {
			return 0, err
		}
	}
	// From the next measure on the limits are those of a long series.
	for i, x := range d.x {
		arl += d.weight[i] * d.at[i] * steady.from(x)
	}
	return plausible(arl)
}

// Within is the probability of a signal within n measures (1..10,000) when the mean stands shift
// above target. Errors as for [EWMA.ARL].
func (c EWMA) Within(shift float64, n int) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := checkSpan(n); err != nil {
		return 0, err
	}
	if !finite(shift) {
		return 0, fmt.Errorf("shift %g is not a finite number", shift)
	}
	if c.Lambda == 1 {
		stays := below(c.L-shift) - below(-c.L-shift)
		return -math.Expm1(float64(n) * math.Log(stays)), nil
	}
	if !c.Varying {
		alive, err := c.steady(shift).survivors(0, n)
		if err != nil {
			return 0, err
		}
		return 1 - alive[n-1], nil
	}
	d := c.start(shift)
	var err error
	for d.t < n {
		if d, err = d.next(); err != nil {
			return 0, err
		}
	}
	return math.Min(1, math.Max(0, 1-d.mass())), nil
}

// LimitEWMA finds the width L at which the chart signals falsely within n measures with the stated
// probability (to 1e-9). It is an error when no width up to 12 does.
func LimitEWMA(lambda float64, varying bool, n int, falseSignal float64) (EWMA, error) {
	if !(falseSignal > 0 && falseSignal < 1) {
		return EWMA{}, fmt.Errorf("false-signal probability %g is outside 0..1: write 0.05 for one in twenty", falseSignal)
	}
	l, err := rising(1e-3, 12, 0.5, func(l float64) (float64, error) {
		p, err := EWMA{Lambda: lambda, L: l, Varying: varying}.Within(0, n)
		return falseSignal - p, err
	})
	if err != nil {
		return EWMA{}, err
	}
	return EWMA{Lambda: lambda, L: l, Varying: varying}, nil
}

// spread is the density of Z after t measures without a signal, at the nodes between the limits.
type spread struct {
	EWMA
	shift         float64
	t             int
	x, weight, at []float64
}

// start is the density after the first measure.
func (c EWMA) start(shift float64) spread {
	d := spread{EWMA: c, shift: shift, t: 1}
	k := d.kernel()
	// Limits are no farther apart than those of a long series, which solve has accepted, or a
	// next step refuses.
	d.x, d.weight, _ = k.nodes()
	d.at = make([]float64, len(d.x))
	for i, x := range d.x {
		d.at[i] = k.density(x, 0)
	}
	return d
}

func (d spread) kernel() kernel {
	limit := d.Limit(d.t)
	return kernel{low: -limit, high: limit, width: d.Lambda, density: d.density(d.shift)}
}

func (d spread) mass() float64 {
	sum := 0.0
	for i := range d.x {
		sum += d.weight[i] * d.at[i]
	}
	return sum
}

// settled says whether the limits are those of a long series to rounding.
func (d spread) settled() bool {
	return 2*float64(d.t)*math.Log1p(-d.Lambda) < math.Log(1e-13) || d.mass() < 1e-15
}

func (d spread) next() (spread, error) {
	n := spread{EWMA: d.EWMA, shift: d.shift, t: d.t + 1}
	k := n.kernel()
	var err error
	if n.x, n.weight, err = k.nodes(); err != nil {
		return n, err
	}
	n.at = make([]float64, len(n.x))
	for i, y := range n.x {
		for j, x := range d.x {
			n.at[i] += d.weight[j] * d.at[j] * k.density(y, x)
		}
	}
	return n, nil
}
