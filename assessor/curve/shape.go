package curve

import (
	"fmt"
	"math"
	"sort"
)

// Shape is a family of learning curves.
type Shape int

// The families. All have three parameters.
const (
	// Exponential is y = A - B exp(-k x): the same share of what is left is gained at every drill.
	Exponential Shape = iota
	// Power is y = A - B x^-c, for x from 1: gains slow down more than an exponential's, as is
	// often found of averages (Newell and Rosenbloom 1981, from memory). It nears its plateau so
	// slowly that the plateau is seldom known.
	Power
	// Logistic is y = A / (1 + exp((m-x)/s)): slow, then fast, then slow.
	Logistic
)

// String is the shape's name.
func (s Shape) String() string {
	switch s {
	case Exponential:
		return "exponential"
	case Power:
		return "power"
	case Logistic:
		return "logistic"
	}
	return fmt.Sprintf("shape %d", int(s))
}

// ParseShape reads a shape's name.
func ParseShape(name string) (Shape, error) {
	for _, s := range []Shape{Exponential, Power, Logistic} {
		if s.String() == name {
			return s, nil
		}
	}
	return 0, fmt.Errorf("there is no curve %q: write exponential, power or logistic", name)
}

// Parameters are the names of the parameters, in order.
func (s Shape) Parameters() []string {
	switch s {
	case Power:
		return []string{"plateau", "gap", "exponent"}
	case Logistic:
		return []string{"plateau", "middle", "scale"}
	}
	return []string{"plateau", "gap", "rate"}
}

// power is A - B x^-c, for x above 0.
var power = family{3, func(p []float64, x float64, slope []float64) float64 {
	e := math.Pow(x, -p[2])
	slope[0], slope[1], slope[2] = 1, -e, p[1]*math.Log(x)*e
	return p[0] - p[1]*e
}}

// sigmoid is A / (1 + exp((m-x)/s)).
var sigmoid = family{3, func(p []float64, x float64, slope []float64) float64 {
	e := math.Exp((p[1] - x) / p[2])
	if math.IsInf(e, 1) {
		slope[0], slope[1], slope[2] = 0, 0, 0
		return 0
	}
	slope[0] = 1 / (1 + e)
	slope[1] = -p[0] * slope[0] * (e / (1 + e)) / p[2]
	slope[2] = -slope[1] * (p[1] - x) / p[2]
	return p[0] * slope[0]
}}

func (s Shape) family() family {
	switch s {
	case Power:
		return power
	case Logistic:
		return sigmoid
	}
	return plateau
}

// start finds somewhere to start from: the best of a grid of the nonlinear parameters, the others
// being a linear problem. x is sorted.
func (s Shape) start(x, y []float64) []float64 {
	switch s {
	case Power:
		return best(x, y, func(k float64) func(float64) float64 {
			return func(x float64) float64 { return math.Pow(x, -k) }
		}, slowestPower, fastestPower)
	case Logistic:
		return startSigmoid(x, y)
	}
	span := x[len(x)-1] - x[0]
	return best(x, y, func(k float64) func(float64) float64 {
		return func(x float64) float64 { return math.Exp(-k * x) }
	}, slowest/span, fastest/span)
}

// Exponents tried.
const (
	slowestPower = 0.02
	fastestPower = 10
)

// best is plateau, gap and rate of the best of a grid of rates.
func best(x, y []float64, basis func(k float64) func(float64) float64, low, high float64) []float64 {
	out, least := []float64{y[len(y)-1], 0, math.Sqrt(low * high)}, math.Inf(1)
	for i := range rates {
		k := low * math.Pow(high/low, float64(i)/(rates-1))
		if t := along(x, y, basis(k)); t.rss < least {
			out, least = []float64{t.plateau, t.gap, k}, t.rss
		}
	}
	return out
}

// startSigmoid tries middles and scales over the span of x.
func startSigmoid(x, y []float64) []float64 {
	span := x[len(x)-1] - x[0]
	out, least := []float64{y[len(y)-1], x[len(x)/2], span / 4}, math.Inf(1)
	for i := range 25 {
		middle := x[0] + span*(float64(i)/16-0.25)
		for j := range 12 {
			scale := span * 0.02 * math.Pow(100, float64(j)/11)
			var sbb, sby, rss float64
			for i := range x {
				b := 1 / (1 + math.Exp((middle-x[i])/scale))
				sbb += b * b
				sby += b * y[i]
			}
			a := sby / sbb
			for i := range x {
				r := y[i] - a/(1+math.Exp((middle-x[i])/scale))
				rss += r * r
			}
			if rss < least {
				out, least = []float64{a, middle, scale}, rss
			}
		}
	}
	return out
}

// sorted splits drills by rising x, without judging how many there are.
func sorted(points []Point, s Shape) (x, y []float64, err error) {
	in := append([]Point(nil), points...)
	sort.SliceStable(in, func(i, j int) bool { return in[i].X < in[j].X })
	distinct := 0
	for i, p := range in {
		if !(math.Abs(p.X) <= mostValue) || !(math.Abs(p.Y) <= mostValue) {
			return nil, nil, fmt.Errorf("drill at x = %g with value %g: both must be finite numbers", p.X, p.Y)
		}
		if s == Power && p.X <= 0 {
			return nil, nil, fmt.Errorf("drill at x = %g: a power law counts drills from 1", p.X)
		}
		if i == 0 || p.X != in[i-1].X {
			distinct++
		}
		x, y = append(x, p.X), append(y, p.Y)
	}
	if more := max(4-len(x), 3-distinct); more > 0 {
		return nil, nil, &NotYet{more, "three parameters and a scatter need at least 4 drills at 3 different counts"}
	}
	return x, y, nil
}

// mostValue keeps squares finite.
const mostValue = 1e100
