package cusum

import (
	"errors"
	"fmt"
	"math"
)

// Normal is the CUSUM of Page 1954 (Biometrika 41:100-15) for a measure that, on target, has mean
// 0 and standard deviation 1 (standardise it first), with independent normal values:
//
//	C+(t) = max(0, C+(t-1) + x - K),  C-(t) = max(0, C-(t-1) - x - K),
//
// and a signal when one of them exceeds H. One-sided charts have C+ alone. Both start at
// HeadStart (Lucas and Crosier 1982, Technometrics 24:199-205, from memory).
type Normal struct {
	K         float64 // allowance, in standard deviations: half the shift to be found; 0 or more
	H         float64 // limit, in standard deviations, above 0
	HeadStart float64 // first value of both sums, 0 <= HeadStart < H
	TwoSided  bool
}

// Check says what is wrong with the chart.
func (c Normal) Check() error {
	switch {
	case !(c.K >= 0) || math.IsInf(c.K, 0):
		return fmt.Errorf("allowance %g makes no chart: give 0 or a number above it", c.K)
	case !(c.H > 0) || math.IsInf(c.H, 0):
		return fmt.Errorf("limit %g makes no chart: give a number above 0", c.H)
	case !(c.HeadStart >= 0 && c.HeadStart < c.H):
		return fmt.Errorf("head start %g is not between 0 and the limit %g", c.HeadStart, c.H)
	}
	return nil
}

// Follow gives the two sums after each measure and the first that signalled, counted from 1 (0:
// none). Lower is nil for a one-sided chart. It is an error when a value is not a finite number or
// the chart is none.
func (c Normal) Follow(x []float64) (upper, lower []float64, signal int, err error) {
	if err := c.Check(); err != nil {
		return nil, nil, 0, err
	}
	up, down := c.HeadStart, c.HeadStart
	for t, v := range x {
		if !finite(v) {
			return nil, nil, 0, fmt.Errorf("value %d is %g: give finite numbers", t+1, v)
		}
		up = math.Max(0, up+v-c.K)
		down = math.Max(0, down-v-c.K)
		upper = append(upper, up)
		if c.TwoSided {
			lower = append(lower, down)
		}
		if signal == 0 && (up > c.H || c.TwoSided && down > c.H) {
			signal = t + 1
		}
	}
	return upper, lower, signal, nil
}

// arm is the upper sum's kernel when the mean stands shift above target.
func (c Normal) arm(shift float64) kernel {
	return kernel{
		low: 0, high: c.H, width: 1,
		density: func(y, x float64) float64 { return bell(y - x + c.K - shift) },
		sticks:  func(x float64) float64 { return below(c.K - shift - x) },
	}
}

// ARL is the mean number of measures to a signal when the mean stands shift standard deviations
// above target throughout, by Page's integral equation to about 1e-9 relative. For two sides it
// follows from the two arms (van Dobben de Bruyn 1968, Lucas and Crosier 1982; the formula holds
// when one arm stands at 0 whenever the other signals, as it does without or with a moderate head
// start). It is an error when the chart is none, shift is not finite, or the run length is beyond
// what can be computed (about 1e12).
func (c Normal) ARL(shift float64) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if !finite(shift) {
		return 0, fmt.Errorf("shift %g is not a finite number", shift)
	}
	up, err := c.arm(shift).solve()
	if err != nil {
		return 0, err
	}
	if !c.TwoSided {
		return plausible(up.from(c.HeadStart))
	}
	down, err := c.arm(-shift).solve()
	if err != nil {
		return 0, err
	}
	return plausible(both(up.from(c.HeadStart), up.from(0), down.from(c.HeadStart), down.from(0)))
}

// both is the run length of two arms from those of each from the head start and from 0. It is
// written with the ratio of the slower arm's two run lengths, which is right even when that arm
// signals too seldom for the run lengths themselves.
func both(up, up0, down, down0 float64) float64 {
	if math.Abs(up0) > math.Abs(down0) {
		up, up0, down, down0 = down, down0, up, up0
	}
	share := math.Abs(up0 / down0)
	return (up + (down/down0-1)*up0) / (1 + share)
}

// beyond is a run length at which rounding begins to show.
const beyond = 1e12

func plausible(arl float64) (float64, error) {
	if !(arl >= 1-1e-9 && arl <= beyond) {
		return 0, errors.New("signals are so rare that the mean run length cannot be computed; choose a nearer limit")
	}
	return arl, nil
}

// Within is the probability of a signal within n measures when the mean stands shift above target.
// For two sides it is the sum over the two arms, an upper bound: too high by the probability that
// both signal within n, which is small when the answer is. Errors as [Normal.ARL], and n outside
// 1..10,000.
func (c Normal) Within(shift float64, n int) (float64, error) {
	if err := c.Check(); err != nil {
		return 0, err
	}
	if err := checkSpan(n); err != nil {
		return 0, err
	}
	if !finite(shift) {
		return 0, fmt.Errorf("shift %g is not a finite number", shift)
	}
	up, err := c.arm(shift).survivors(c.HeadStart, n)
	if err != nil {
		return 0, err
	}
	p := 1 - up[n-1]
	if c.TwoSided {
		down, err := c.arm(-shift).survivors(c.HeadStart, n)
		if err != nil {
			return 0, err
		}
		p += 1 - down[n-1]
	}
	return math.Min(p, 1), nil
}

// LimitNormal finds the limit H at which a chart without head start signals falsely within n
// measures with the stated probability (to 1e-9). It is an error when no limit up to 60 does.
func LimitNormal(k float64, twoSided bool, n int, falseSignal float64) (Normal, error) {
	if !(falseSignal > 0 && falseSignal < 1) {
		return Normal{}, fmt.Errorf("false-signal probability %g is outside 0..1: write 0.05 for one in twenty", falseSignal)
	}
	return limitNormal(k, twoSided, func(c Normal) (float64, error) {
		p, err := c.Within(0, n)
		return falseSignal - p, err
	})
}

// LimitNormalARL finds the limit H at which a chart without head start has the stated mean run
// length on target (above 1; to 1e-9 in H). It is an error when no limit up to 60 does.
func LimitNormalARL(k float64, twoSided bool, arl float64) (Normal, error) {
	if !(arl > 1 && arl < beyond/1000) {
		return Normal{}, fmt.Errorf("a mean run length of %g on target cannot be had: give more than 1 and less than %.0e", arl, beyond/1000)
	}
	return limitNormal(k, twoSided, func(c Normal) (float64, error) {
		l, err := c.ARL(0)
		if err != nil && c.Check() == nil {
			return 1, nil // beyond computing: far above what was asked
		}
		return math.Log(l / arl), err
	})
}

// limitNormal searches H for the root of a rising function.
func limitNormal(k float64, twoSided bool, f func(Normal) (float64, error)) (Normal, error) {
	at := func(h float64) (float64, error) { return f(Normal{K: k, H: h, TwoSided: twoSided}) }
	h, err := rising(1e-6, 60, 0.5, at)
	if err != nil {
		return Normal{}, err
	}
	return Normal{K: k, H: h, TwoSided: twoSided}, nil
}

// rising finds the root of a rising function between low and high, walking up from low in growing
// steps and then closing in by the regula falsi (Illinois rule).
func rising(low, high, step float64, f func(float64) (float64, error)) (float64, error) {
	fl, err := f(low)
	if err != nil {
		return 0, err
	}
	if fl > 0 {
		return 0, errors.New("even the smallest limit is stricter than asked for; ask for fewer false signals")
	}
	a, fa := low, fl
	b, fb := low, fl
	for fb < 0 {
		if b >= high {
			return 0, fmt.Errorf("no limit up to %g is strict enough; ask for more false signals or a shorter span", high)
		}
		a, fa = b, fb
		b = math.Min(b+step, high)
		step *= 1.5
		if fb, err = f(b); err != nil {
			return 0, err
		}
	}
	side := 0
	for range 200 {
		m := b - fb*(b-a)/(fb-fa)
		if !(m > a && m < b) {
			m = (a + b) / 2
		}
		fm, err := f(m)
		if err != nil {
			return 0, err
		}
		if math.Abs(fm) < 1e-13 || b-a < 1e-11 {
			return m, nil
		}
		if fm < 0 {
			a, fa = m, fm
			if side < 0 {
				fb /= 2
			}
			side = -1
		} else {
			b, fb = m, fm
			if side > 0 {
				fa /= 2
			}
			side = 1
		}
	}
	return (a + b) / 2, nil
}

func checkSpan(n int) error {
	if n < 1 || n > mostDrills {
		return fmt.Errorf("a probability is stated over 1 to %d measures, not %d", mostDrills, n)
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
