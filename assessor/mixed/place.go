package mixed

import (
	"fmt"
	"math"
)

// Placed is where one trainee stands on a fitted model: own parameters, how uncertain they are, and
// how much of each is the trainee's own.
type Placed struct {
	Par []float64
	// Cov is the covariance of the error of Par: what the trainee's drills leave open, and the
	// uncertainty of what trainees share; after Refine also that of how far they differ.
	Cov [][]float64
	// Own is, for each parameter that differs between trainees, the share of the spread between
	// trainees that the drills have settled: near 0 the parameter is still the cohort's, near 1
	// the trainee's own.
	Own   []float64
	Drill int // drills it rests on
}

// Place puts a trainee on the model from drills seen, none included: the mode of the trainee's
// departures given the drills (as for the trainees of the fit itself). It is an error when a value
// is not finite or the curve is none at the trainee's drills.
func (f *NonlinearFit) Place(x, y []float64) (Placed, error) {
	if len(x) != len(y) {
		return Placed{}, fmt.Errorf("%d x for %d y: give one for each", len(x), len(y))
	}
	for i := range x {
		if !(math.Abs(x[i]) <= 1e50) || !(math.Abs(y[i]) <= 1e50) {
			return Placed{}, fmt.Errorf("drill %d: x = %g and y = %g must be finite numbers", i+1, x[i], y[i])
		}
	}
	s := &search{Function: f.f, subjects: []Subject{{X: x, Y: y}}, opt: f.Options, p: f.f.P, q: len(f.Options.Random), beta: f.Fixed, lambda: f.factor}
	s.slope, s.par = make([]float64, s.p), make([]float64, s.p)
	u, a, zx, err := s.mode()
	if err != nil {
		return Placed{}, err
	}
	out := Placed{Par: append([]float64(nil), s.at(s.beta, u)...), Drill: len(x)}
	inv := between(s.lambda, inverse(a, s.q), s.q) // lambda A^-1 lambda', conditional covariance over sigma squared
	// m is what an error in the shared parameters leaves in the trainee's: 1 - lambda A^-1 lambda' Z'X.
	m := make([]float64, s.p*s.p)
	for i := range s.p {
		m[i*s.p+i] = 1
	}
	for k, r := range s.opt.Random {
		for j := range s.p {
			for l := range s.q {
				m[r*s.p+j] -= inv[k*s.q+l] * zx[l*s.p+j]
			}
		}
	}
	out.Cov = f.shared(s, m)
	variance := f.Sigma * f.Sigma
	for k, r := range s.opt.Random {
		for l, c := range s.opt.Random {
			out.Cov[r][c] += variance * inv[k*s.q+l]
		}
		own := 0.0
		if f.Random[k][k] > 0 {
			own = math.Max(0, 1-variance*inv[k*s.q+k]/f.Random[k][k])
		}
		out.Own = append(out.Own, own)
	}
	return out, nil
}

// mode finds the single subject's u, with the factor of lambda'Z'Z lambda + 1 there and Z'X.
func (s *search) mode() (u, a, zx []float64, err error) {
	u = make([]float64, s.q)
	now := s.cost(s.beta, [][]float64{u})
	if !finite(now) {
		return nil, nil, nil, ErrWanders
	}
	for range 100 {
		zz, zr := make([]float64, s.q*s.q), make([]float64, s.q)
		zx = make([]float64, s.q*s.p)
		par := s.at(s.beta, u)
		for i, x := range s.subjects[0].X {
			r := s.subjects[0].Y[i] - s.Value(par, x, s.slope)
			for k, rk := range s.opt.Random {
				zr[k] += s.slope[rk] * r
				for l, rl := range s.opt.Random {
					zz[k*s.q+l] += s.slope[rk] * s.slope[rl]
				}
				for j, d := range s.slope {
					zx[k*s.p+j] += s.slope[rk] * d
				}
			}
		}
		half, step := make([]float64, s.q*s.q), make([]float64, s.q)
		a = make([]float64, s.q*s.q)
		lower(half, zz, s.lambda, s.q, s.q)
		for i := range s.q {
			for j := range s.q {
				for k := j; k < s.q; k++ {
					a[i*s.q+j] += half[i*s.q+k] * s.lambda[k*s.q+j]
				}
			}
			a[i*s.q+i]++
		}
		lower(step, zr, s.lambda, s.q, 1)
		for k := range step {
			step[k] -= u[k]
		}
		if !cholesky(a, s.q) {
			return nil, nil, nil, ErrWanders
		}
		forward(a, s.q, step, 1)
		backward(a, s.q, step, 1)
		moved := false
		for part := 1.0; part > 1e-9; part /= 2 {
			next := make([]float64, s.q)
			for k := range next {
				next[k] = u[k] + part*step[k]
			}
			if then := s.cost(s.beta, [][]float64{next}); then <= now*(1+1e-14) {
				moved = now-then > 1e-13*now || part < 1
				u, now = next, then
				break
			}
		}
		if !moved {
			return u, a, zx, nil
		}
	}
	return nil, nil, nil, ErrWanders
}

// shared is what the uncertainty of the fit's parameters makes of a trainee's: m is how the trainee's
// follow the shared ones; how they follow the factor is found by differences.
func (f *NonlinearFit) shared(s *search, m []float64) [][]float64 {
	p := s.p
	slopes := make([][]float64, p) // of each parameter of the trainee, in all parameters of the fit
	for i := range p {
		slopes[i] = append(slopes[i], m[i*p:(i+1)*p]...)
	}
	cov := f.FixedCov
	if moves, ok := f.byTheta(s); f.joint != nil && ok {
		cov = f.joint
		for i := range p {
			slopes[i] = append(slopes[i], moves[i]...)
		}
	}
	out := make([][]float64, p)
	for i := range out {
		out[i] = make([]float64, p)
		for j := range p {
			for k, a := range slopes[i] {
				for l, b := range slopes[j] {
					out[i][j] += a * cov[k][l] * b
				}
			}
		}
	}
	return out
}

// byTheta differences the trainee's parameters in each entry of theta.
func (f *NonlinearFit) byTheta(s *search) ([][]float64, bool) {
	sum := newSums(s.p, s.q, f.Options.Diagonal, false)
	sum.scale = f.scale
	at := func(theta []float64) ([]float64, bool) {
		one := *s
		one.lambda, one.par = sum.lambda(theta), make([]float64, s.p)
		u, _, _, err := one.mode()
		if err != nil {
			return nil, false
		}
		return one.at(one.beta, u), true
	}
	out := make([][]float64, s.p)
	theta := append([]float64(nil), f.theta...)
	for k := range theta {
		h := width(theta[k], 1e-4)
		theta[k] += h
		up, ok1 := at(theta)
		theta[k] -= 2 * h
		down, ok2 := at(theta)
		theta[k] = f.theta[k]
		if !ok1 || !ok2 {
			return nil, false
		}
		for i := range out {
			out[i] = append(out[i], (up[i]-down[i])/(2*h))
		}
	}
	return out, true
}
