package curve

import "math"

// straight is the least-squares fit at a given rate, where the rest is a linear problem.
type straight struct{ plateau, gap, rss float64 }

// along fits plateau and gap of y = plateau - gap basis(x): a straight line in the basis.
func along(x, y []float64, basis func(float64) float64) straight {
	n := float64(len(x))
	e := make([]float64, len(x))
	var meanE, meanY float64
	for i := range x {
		e[i] = basis(x[i])
		meanE += e[i] / n
		meanY += y[i] / n
	}
	var see, sey float64
	for i := range x {
		d := e[i] - meanE
		see += d * d
		sey += d * (y[i] - meanY)
	}
	slope := sey / see
	s := straight{plateau: meanY - slope*meanE, gap: -slope}
	for i := range x {
		r := y[i] - s.plateau - slope*e[i]
		s.rss += r * r
	}
	return s
}

// freely fits plateau and gap at a rate.
func freely(x, y []float64, rate float64) straight {
	return along(x, y, func(x float64) float64 { return math.Exp(-rate * x) })
}

// decelerating fits plateau and gap at an exponent.
func decelerating(x, y []float64, exponent float64) straight {
	return along(x, y, func(x float64) float64 { return math.Pow(x, -exponent) })
}

// fromZero fits the plateau of a curve that is 0 at x = 0, at a rate.
func fromZero(x, y []float64, rate float64) straight {
	var sbb, sby float64
	for i := range x {
		b := -math.Expm1(-rate * x[i])
		sbb += b * b
		sby += b * y[i]
	}
	s := straight{plateau: sby / sbb, gap: sby / sbb}
	for i := range x {
		r := y[i] + s.plateau*math.Expm1(-rate*x[i])
		s.rss += r * r
	}
	return s
}

// Rates tried, per span of x: the slowest is a straight line to the eye, the fastest is over
// before the second of a hundred drills.
const (
	slowest = 0.02
	fastest = 500
	rates   = 80
)

// startRate is the best rate of a grid. A best at the slow end means that the drills have not
// begun to level off, one at the fast end that they levelled off before they could be followed.
func startRate(x, y []float64, low, high float64, at func(x, y []float64, rate float64) straight) (rate float64, s straight, err error) {
	best := -1
	s.rss = math.Inf(1)
	for i := range rates {
		k := low * math.Pow(high/low, float64(i)/(rates-1))
		// A sum of squares that is not a number is never less.
		if tried := at(x, y, k); tried.rss < s.rss {
			best, rate, s = i, k, tried
		}
	}
	switch best {
	case -1:
		err = &NotYet{again(len(x)), "no rate fits the drills; count x from the first drill"}
	case 0:
		err = &NotYet{again(len(x)), "the drills have not begun to level off, so no plateau is in sight"}
	case rates - 1:
		err = &NotYet{again(len(x)), "the drills are level from the start, so there is no rise to follow"}
	}
	return rate, s, err
}
