package curve

import (
	"fmt"
	"math"
	"sort"
)

// Fewest drills, and fewest different x among them, through which a curve is drawn: three
// parameters with three drills to spare.
const (
	fewestDrills   = 6
	fewestDistinct = 4
)

// NotYet says that no curve can be told yet, and why. It carries no estimate.
type NotYet struct {
	More   int    // further drills after which to ask again, at least 1
	Reason string // what is missing
}

// Error reads "not enough yet: 4 more drills; ...".
func (n *NotYet) Error() string {
	drills := "drills"
	if n.More == 1 {
		drills = "drill"
	}
	return fmt.Sprintf("not enough yet: %d more %s; %s", n.More, drills, n.Reason)
}

// plateau is the full family: A, B, k.
var plateau = family{3, func(p []float64, x float64, slope []float64) float64 {
	e := math.Exp(-p[2] * x)
	slope[0], slope[1], slope[2] = 1, -e, p[1]*x*e
	return p[0] - p[1]*e
}}

// rise is the family through a known value at x = 0, as a distance from that value: A, k.
var rise = family{2, func(p []float64, x float64, slope []float64) float64 {
	e := math.Exp(-p[1] * x)
	slope[0], slope[1] = -math.Expm1(-p[1]*x), p[0]*x*e
	return -p[0] * math.Expm1(-p[1]*x)
}}

// Fit fits the curve to drills in any order. The error is a *NotYet when the drills do not make a
// curve yet, and another error when a value is not a finite number or x is negative.
//
// A curve is given only when plateau, gap and rate are known well enough to mean something: gap
// and rate at least twice their standard error, the standard error of the plateau at most half the
// gap, and a trend that chance alone would seldom show.
func Fit(points []Point) (*Curve, error) {
	x, y, err := ready(points)
	if err != nil {
		return nil, err
	}
	rate, from, err := startRate(x, y, slowest/span(x), fastest/span(x), freely)
	if err != nil {
		return nil, err
	}
	s, err := plateau.solve(x, y, []float64{from.plateau, from.gap, rate})
	if err != nil {
		return nil, unsettled(len(x), err)
	}
	return three(Exponential, x, y, s)
}

// FitPower fits the power law y = Plateau - Gap x^-Rate to drills counted from 1. It judges as [Fit]
// does; a power law nears its plateau so slowly that the answer is often that more drills are
// needed. Errors are those of [Fit], and x not above 0.
func FitPower(points []Point) (*Curve, error) {
	x, y, err := ready(points)
	if err != nil {
		return nil, err
	}
	if x[0] <= 0 {
		return nil, fmt.Errorf("drill at x = %g: a power law counts drills from 1", x[0])
	}
	exponent, from, err := startRate(x, y, slowestPower, fastestPower, decelerating)
	if err != nil {
		return nil, err
	}
	s, err := power.solve(x, y, []float64{from.plateau, from.gap, exponent})
	if err != nil {
		return nil, unsettled(len(x), err)
	}
	return three(Power, x, y, s)
}

// three makes a curve of three estimated parameters.
func three(shape Shape, x, y []float64, s solution) (*Curve, error) {
	c := &Curve{Shape: shape, Plateau: s.par[0], Gap: s.par[1], Rate: s.par[2], N: len(x), DF: len(x) - 3, RSS: s.rss, Last: x[len(x)-1]}
	for i := range 3 {
		for j := range 3 {
			c.Covariance[i][j] = s.cov.At(i, j)
		}
	}
	return c.judged(x, y)
}

func span(x []float64) float64 { return x[len(x)-1] - x[0] }

// FitFrom fits the curve to drills when its value at x = 0 is known, so that two parameters are
// estimated. Errors are those of [Fit].
func FitFrom(start float64, points []Point) (*Curve, error) {
	if !finite(start) {
		return nil, fmt.Errorf("the value at the start, %g, is not a finite number", start)
	}
	x, y, err := ready(points)
	if err != nil {
		return nil, err
	}
	above := make([]float64, len(y))
	for i := range y {
		above[i] = y[i] - start
	}
	rate, from, err := startRate(x, above, slowest/span(x), fastest/span(x), fromZero)
	if err != nil {
		return nil, err
	}
	s, err := rise.solve(x, above, []float64{from.plateau, rate})
	if err != nil {
		return nil, unsettled(len(x), err)
	}
	c := &Curve{Plateau: start + s.par[0], Gap: s.par[0], Rate: s.par[1], N: len(x), DF: len(x) - 2, RSS: s.rss, Last: x[len(x)-1]}
	same := [3]int{0, 0, 1} // plateau and gap move together
	for i := range 3 {
		for j := range 3 {
			c.Covariance[i][j] = s.cov.At(same[i], same[j])
		}
	}
	return c.judged(x, y)
}

// ready checks the drills, sorts them by x and splits them.
func ready(points []Point) (x, y []float64, err error) {
	sorted := append([]Point(nil), points...)
	sort.SliceStable(sorted, func(i, j int) bool { return sorted[i].X < sorted[j].X })
	distinct := 0
	low, high := math.Inf(1), math.Inf(-1)
	for i, p := range sorted {
		if !finite(p.X) || !finite(p.Y) || p.X < 0 {
			return nil, nil, fmt.Errorf("drill at x = %g with value %g: both must be finite numbers and x at least 0", p.X, p.Y)
		}
		if i == 0 || p.X != sorted[i-1].X {
			distinct++
		}
		low, high = math.Min(low, p.Y), math.Max(high, p.Y)
		x, y = append(x, p.X), append(y, p.Y)
	}
	if more := max(fewestDrills-len(x), fewestDistinct-distinct); more > 0 {
		return nil, nil, &NotYet{more, fmt.Sprintf("a curve needs at least %d drills at %d different counts", fewestDrills, fewestDistinct)}
	}
	if high == low {
		return nil, nil, &NotYet{again(len(x)), "all values are the same, so there is no trend to fit"}
	}
	return x, y, nil
}

// again is when to ask again if nothing better can be computed: half as many drills as there are.
func again(n int) int { return max(3, (n+1)/2) }

func unsettled(n int, err error) error {
	return &NotYet{again(n), "the fit found no curve of this shape: " + err.Error()}
}
