package curve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Estimates is a least-squares fit as a statistician reads it: nothing is held back because it is
// uncertain, so the errors must be read with it. For what a trainee is shown use [Fit].
type Estimates struct {
	Shape           Shape
	Parameters      []float64 // named by Shape.Parameters
	Errors          []float64 // standard errors
	Covariance      [][]float64
	N, DF           int
	RSS, Sigma      float64 // residual sum of squares; residual standard deviation, RSS/DF under the root
	LogLik          float64 // with normal residuals, their variance RSS/N
	AIC, BIC        float64 // counting the residual variance as a parameter
	x, y            []float64
	scaleFree       [][]float64 // covariance over the residual variance
	leastSquaresFit family
}

// LeastSquares fits a shape to drills in any order. start is where to start the search, nil for the
// best of a grid.
//
// Model: y = curve(x) + e, e independent and normal with one variance; nonlinear least squares by
// Levenberg-Marquardt with analytic derivatives. Errors: a *NotYet with fewer than 4 drills at 3
// different counts and where the search finds no minimum (the message says why); values that are
// not finite; for the power law x not above 0.
func LeastSquares(s Shape, points []Point, start []float64) (*Estimates, error) {
	x, y, err := sorted(points, s)
	if err != nil {
		return nil, err
	}
	f := s.family()
	if start == nil {
		start = s.start(x, y)
	}
	if len(start) != f.p {
		return nil, fmt.Errorf("a %s curve has %d parameters to start from, not %d", s, f.p, len(start))
	}
	got, err := f.solve(x, y, start)
	if err != nil {
		return nil, unsettled(len(x), err)
	}
	return estimatesOf(s, f, x, y, got)
}

func estimatesOf(s Shape, f family, x, y []float64, got solution) (*Estimates, error) {
	n := float64(len(x))
	e := &Estimates{Shape: s, Parameters: got.par, N: len(x), DF: len(x) - f.p, RSS: got.rss, x: x, y: y, leastSquaresFit: f}
	if e.DF < 1 {
		return nil, &NotYet{1 - e.DF, "no drill is left over to tell the scatter from"}
	}
	e.Sigma = math.Sqrt(e.RSS / float64(e.DF))
	for i := range f.p {
		row, free := make([]float64, f.p), make([]float64, f.p)
		for j := range f.p {
			free[j] = got.cov.At(i, j)
			row[j] = free[j] * e.Sigma * e.Sigma
		}
		e.Covariance, e.scaleFree = append(e.Covariance, row), append(e.scaleFree, free)
		e.Errors = append(e.Errors, math.Sqrt(row[i]))
	}
	size := 0.0
	for _, v := range y {
		size += v * v
	}
	if !(e.RSS > 1e-24*size) {
		return nil, &NotYet{again(e.N), "the drills lie on the curve to rounding, so there is no scatter to judge it by"}
	}
	e.LogLik = -n / 2 * (1 + math.Log(2*math.Pi*e.RSS/n))
	k := float64(f.p + 1)
	e.AIC, e.BIC = -2*e.LogLik+2*k, -2*e.LogLik+k*math.Log(n)
	for i, v := range e.Parameters {
		if !finite(v) || !finite(e.Errors[i]) {
			return nil, unsettled(e.N, errFlat)
		}
	}
	return e, nil
}

// Range is an interval of a parameter.
type Range struct{ Low, High float64 }

// Wald gives the intervals of all parameters at a confidence level (0.95 for 95 %) from their
// standard errors and Student's t. It is an error for a level outside 0..1.
func (e *Estimates) Wald(level float64) ([]Range, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(e.DF)}.Quantile((1 + level) / 2)
	out := make([]Range, len(e.Parameters))
	for i, v := range e.Parameters {
		out[i] = Range{v - t*e.Errors[i], v + t*e.Errors[i]}
	}
	return out, nil
}

// Profile gives the interval of parameter j by its profile: the values for which the least sum of
// squares over the other parameters is not significantly above the minimum (Bates and Watts 1988,
// Nonlinear Regression Analysis, ch. 6). It is right where the curve is strongly curved in the
// parameter and Wald's is not. Errors: a level outside 0..1, no such parameter, and an interval
// that the data leave open on one side.
func (e *Estimates) Profile(j int, level float64) (Range, error) {
	if err := checkLevel(level); err != nil {
		return Range{}, err
	}
	if j < 0 || j >= len(e.Parameters) {
		return Range{}, fmt.Errorf("there is no parameter %d: the curve has 0 to %d", j, len(e.Parameters)-1)
	}
	want := distuv.StudentsT{Sigma: 1, Nu: float64(e.DF)}.Quantile((1 + level) / 2)
	low, err := e.edge(j, want, -1)
	if err != nil {
		return Range{}, err
	}
	high, err := e.edge(j, want, 1)
	return Range{low, high}, err
}

// without holds parameter j at a value.
func (f family) without(j int, value float64) family {
	full, slopes := make([]float64, f.p), make([]float64, f.p)
	return family{f.p - 1, func(p []float64, x float64, slope []float64) float64 {
		copy(full, p[:j])
		full[j] = value
		copy(full[j+1:], p[j:])
		y := f.value(full, x, slopes)
		copy(slope, slopes[:j])
		copy(slope[j:], slopes[j+1:])
		return y
	}}
}

// edge walks outwards until the profile's t reaches want, then closes in.
func (e *Estimates) edge(j int, want, sign float64) (float64, error) {
	free := append(append([]float64(nil), e.Parameters[:j]...), e.Parameters[j+1:]...)
	profile := func(at float64) (float64, error) {
		got, err := e.leastSquaresFit.without(j, at).solve(e.x, e.y, free)
		if err != nil {
			return 0, err
		}
		free = got.par
		return math.Sqrt(math.Max(0, got.rss-e.RSS)) / e.Sigma, nil
	}
	open := func(why string) error {
		side := "below"
		if sign > 0 {
			side = "above"
		}
		return &NotYet{again(e.N), fmt.Sprintf("the drills do not bound the %s from %s%s", e.Shape.Parameters()[j], side, why)}
	}
	near, atNear := e.Parameters[j], 0.0
	far, atFar := near, 0.0
	for step := 0; atFar < want; step++ {
		if step > 40 {
			return 0, open("")
		}
		near, atNear = far, atFar
		far += sign * e.Errors[j] * math.Pow(1.1, float64(step)) / 2
		var err error
		if atFar, err = profile(far); err != nil {
			return 0, open(": " + err.Error())
		}
	}
	for range 80 {
		at := near + (want-atNear)/(atFar-atNear)*(far-near)
		if !(at > math.Min(near, far) && at < math.Max(near, far)) {
			at = (near + far) / 2
		}
		v, err := profile(at)
		if err != nil {
			return 0, open(": " + err.Error())
		}
		if math.Abs(v-want) < 1e-8*want {
			return at, nil
		}
		if v < want {
			near, atNear = at, v
		} else {
			far, atFar = at, v
		}
	}
	return (near + far) / 2, nil
}

func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	return nil
}
