package curve

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// family is a curve with p parameters: value returns y at x and writes dy/dparameter to slope.
type family struct {
	p     int
	value func(par []float64, x float64, slope []float64) float64
}

// solution is where the least-squares search ended.
type solution struct {
	par []float64
	rss float64
	cov *mat.SymDense // covariance of the parameters divided by the residual variance
}

// Why a search can end without an answer.
var (
	errFlat    = errors.New("the parameters cannot be told apart")
	errWanders = errors.New("the search did not settle")
)

const (
	mostSteps = 500
	// settled bounds the relative offset (Bates and Watts 1981): the part of the residuals that a
	// change of parameters could still explain, over the residuals. Polishing usually goes on to
	// 1e-9 and below; where residuals are large it may not, and a parameter is then off by about a
	// millionth of its standard error.
	settled = 1e-6
	// nearby is the relative offset from which Gauss-Newton steps alone go on: sums of squares
	// cannot tell parameters apart that differ by less than about 1e-8 of their error.
	nearby = 1e-4
	// singular bounds the smallest diagonal entry of R for columns scaled to length 1.
	singular = 1e-9
)

// solve searches least squares from start by Levenberg-Marquardt. Steps come from a QR
// decomposition of the scaled, damped Jacobian, so that nothing is squared.
func (f family) solve(x, y, start []float64) (solution, error) {
	s := search{family: f, x: x, y: y, par: append([]float64(nil), start...)}
	s.residuals = make([]float64, len(x))
	s.jacobian = mat.NewDense(len(x), f.p, nil)
	rss := s.linearise(s.par)
	if !finite(rss) {
		return solution{}, errWanders
	}
	damping := 1e-3
	for range mostSteps {
		step, err := s.step(damping)
		if err != nil {
			return solution{}, err
		}
		next := make([]float64, f.p)
		for j := range next {
			next[j] = s.par[j] + step[j]
		}
		if tried := s.sumOfSquares(next); tried < rss {
			s.par, rss = next, s.linearise(next)
			damping = math.Max(damping/10, 1e-15)
			continue
		}
		// No better: either this is the minimum to rounding, or the step was too bold.
		if _, offset, err := s.offset(rss); err == nil && offset < nearby {
			return s.finish(rss)
		}
		if damping *= 10; damping > 1e12 {
			break
		}
	}
	return s.finish(rss)
}

type search struct {
	family
	x, y, par []float64
	residuals []float64  // y less the curve
	jacobian  *mat.Dense // slopes of the curve, len(x) by p, columns scaled to length 1
	length    []float64  // what the columns were divided by
}

// linearise fills residuals and jacobian at par and returns the residual sum of squares.
func (s *search) linearise(par []float64) float64 {
	rss := 0.0
	slope := make([]float64, s.p)
	s.length = make([]float64, s.p)
	for i, x := range s.x {
		s.residuals[i] = s.y[i] - s.value(par, x, slope)
		rss += s.residuals[i] * s.residuals[i]
		s.jacobian.SetRow(i, slope)
		for j, v := range slope {
			s.length[j] = math.Hypot(s.length[j], v)
		}
	}
	for j, length := range s.length {
		if length > 0 {
			for i := range s.x {
				s.jacobian.Set(i, j, s.jacobian.At(i, j)/length)
			}
		}
	}
	return rss
}

func (s *search) sumOfSquares(par []float64) float64 {
	rss := 0.0
	slope := make([]float64, s.p)
	for i, x := range s.x {
		r := s.y[i] - s.value(par, x, slope)
		rss += r * r
	}
	return rss
}

// step solves for the change of parameters under the damping (0: Gauss-Newton).
func (s *search) step(damping float64) ([]float64, error) {
	n, root := len(s.x), math.Sqrt(damping)
	a := mat.NewDense(n+s.p, s.p, nil)
	a.Slice(0, n, 0, s.p).(*mat.Dense).Copy(s.jacobian)
	for j := range s.p {
		a.Set(n+j, j, root)
	}
	b := mat.NewVecDense(n+s.p, append(append([]float64(nil), s.residuals...), make([]float64, s.p)...))
	var qr mat.QR
	qr.Factorize(a)
	if damping == 0 && !independent(&qr, s.p) {
		return nil, errFlat
	}
	var d mat.VecDense
	if err := qr.SolveVecTo(&d, false, b); err != nil {
		var condition mat.Condition
		if !errors.As(err, &condition) || math.IsInf(float64(condition), 1) {
			return nil, errFlat
		}
	}
	out := make([]float64, s.p)
	for j := range out {
		if out[j] = d.AtVec(j); s.length[j] > 0 {
			out[j] /= s.length[j]
		}
		if !finite(out[j]) {
			return nil, errFlat
		}
	}
	return out, nil
}

// offset is the Gauss-Newton step at the present parameters and the relative offset. Residuals
// that are nothing but rounding count as explained.
func (s *search) offset(rss float64) (step []float64, offset float64, err error) {
	step, err = s.step(0)
	if err != nil {
		return nil, 0, err
	}
	explained, size := 0.0, 0.0
	for i := range s.x {
		v := 0.0
		for j := range step {
			v += s.jacobian.At(i, j) * s.length[j] * step[j]
		}
		explained = math.Hypot(explained, v)
		size = math.Hypot(size, s.y[i])
	}
	return step, explained / (math.Sqrt(rss) + 1e-6*size), nil
}

// finish polishes the parameters with Gauss-Newton steps for as long as they come closer, and adds
// the covariance. It is errWanders when that does not settle.
func (s *search) finish(rss float64) (solution, error) {
	step, offset, err := s.offset(rss)
	if err != nil {
		return solution{}, err
	}
	for range mostSteps {
		before := s.par
		s.par = make([]float64, s.p)
		for j := range s.par {
			s.par[j] = before[j] + step[j]
		}
		rss = s.linearise(s.par)
		next, closer, err := s.offset(rss)
		if err != nil || !(closer < offset) {
			s.par = before
			rss = s.linearise(before)
			break
		}
		step, offset = next, closer
	}
	if !(offset < settled) {
		// Where residuals are large Gauss-Newton steps overshoot; Newton's do not.
		rss, offset = s.newton(rss, offset)
	}
	if !(offset < settled) {
		return solution{}, errWanders
	}
	var qr mat.QR
	qr.Factorize(s.jacobian)
	if !independent(&qr, s.p) {
		return solution{}, errFlat
	}
	var r mat.Dense
	qr.RTo(&r)
	var inverse mat.Dense
	if err := inverse.Inverse(r.Slice(0, s.p, 0, s.p)); err != nil {
		var condition mat.Condition
		if !errors.As(err, &condition) {
			return solution{}, errFlat
		}
	}
	cov := mat.NewSymDense(s.p, nil)
	for i := range s.p {
		for j := i; j < s.p; j++ {
			v := 0.0
			for k := range s.p {
				v += inverse.At(i, k) * inverse.At(j, k)
			}
			cov.SetSym(i, j, v/s.length[i]/s.length[j])
		}
	}
	return solution{s.par, rss, cov}, nil
}

// newton goes on with Newton steps for as long as they come closer. The second derivatives are
// differences of the gradient, which is analytic.
func (s *search) newton(rss, offset float64) (float64, float64) {
	for range 30 {
		before := s.par
		next, ok := s.newtonStep()
		if !ok {
			return rss, offset
		}
		s.par = next
		tried := s.linearise(next)
		_, closer, err := s.offset(tried)
		if err != nil || !(closer < offset) {
			s.par = before
			return s.linearise(before), offset
		}
		rss, offset = tried, closer
		if offset < settled/1000 {
			break
		}
	}
	return rss, offset
}

// newtonStep is where Newton's method goes from the present parameters.
func (s *search) newtonStep() ([]float64, bool) {
	lengths := append([]float64(nil), s.length...)
	gradient := func(par []float64) []float64 { // of half the sum of squares, over the columns' lengths
		out, slope := make([]float64, s.p), make([]float64, s.p)
		for i, x := range s.x {
			r := s.y[i] - s.value(par, x, slope)
			for j, v := range slope {
				out[j] -= r * v / lengths[j]
			}
		}
		return out
	}
	for _, l := range lengths {
		if !(l > 0) {
			return nil, false
		}
	}
	scatter := 0.0
	for _, r := range s.residuals {
		scatter = math.Hypot(scatter, r)
	}
	at := gradient(s.par)
	h := mat.NewDense(s.p, s.p, nil)
	probe := append([]float64(nil), s.par...)
	for j := range probe {
		width := 1e-5 * (math.Abs(s.par[j]) + scatter/lengths[j])
		probe[j] = s.par[j] + width
		up := gradient(probe)
		probe[j] = s.par[j] - width
		down := gradient(probe)
		probe[j] = s.par[j]
		for i := range up {
			h.Set(i, j, (up[i]-down[i])/(2*width)/lengths[j])
		}
	}
	var d mat.VecDense
	if err := d.SolveVec(h, mat.NewVecDense(s.p, at)); err != nil {
		return nil, false
	}
	out := make([]float64, s.p)
	for j := range out {
		if out[j] = s.par[j] - d.AtVec(j)/lengths[j]; !finite(out[j]) {
			return nil, false
		}
	}
	return out, true
}

// independent says whether the columns behind qr, each of length 1, span p dimensions.
func independent(qr *mat.QR, p int) bool {
	var r mat.Dense
	qr.RTo(&r)
	for j := range p {
		if !(math.Abs(r.At(j, j)) > singular) {
			return false
		}
	}
	return true
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
