package mixed

import (
	"fmt"
	"math"
)

// Function is a curve with P parameters: Value returns y at x and writes dy/dparameter to slope.
type Function struct {
	P     int
	Value func(par []float64, x float64, slope []float64) float64
}

// Subject is one trainee's series.
type Subject struct {
	Name string
	X, Y []float64
}

// NonlinearOptions say what differs between trainees.
type NonlinearOptions struct {
	Random   []int // indices of the parameters that differ between trainees, rising
	Diagonal bool  // they differ independently
}

// NonlinearFit is a fitted model y = f(beta + b, x) + e, with b of each trainee (the parameters in
// Random) normal around 0 with covariance Random, and e normal with standard deviation Sigma.
type NonlinearFit struct {
	Fixed, Errors []float64   // parameters trainees share, and their standard errors
	FixedCov      [][]float64 // their covariance
	Random        [][]float64 // covariance of what differs
	Sigma         float64
	LogLik        float64 // of the linearised model
	AIC, BIC      float64
	Effects       []Effect // in the subjects' order
	N, Iterations int
	Options       NonlinearOptions

	f            Function
	factor       []float64   // lambda, q by q: Random is sigma squared lambda lambda'
	theta, scale []float64   // what it is made of
	joint        [][]float64 // covariance of Fixed and theta together; nil before Refine
}

const (
	mostRounds = 500
	// settled is the relative change of a round from which the two steps have met.
	settled = 1e-6
)

// Nonlinear fits the model by maximum likelihood in the way of Lindstrom and Bates 1990
// (Biometrics 46:673-87), as R's nlme does: given the variances, the parameters and every
// trainee's departures by penalised least squares; given those, the variances by maximum
// likelihood of the model made linear there; and so on until neither moves. The likelihood is
// thus approximate where the curve is strongly curved in what differs.
//
// Standard errors carry no correction for the number of parameters (nlme's summary multiplies
// them by sqrt(N/(N-p))).
//
// Errors: values that are not finite; indices that are none; a *TooFew with fewer than 2 trainees
// or no more drills than parameters; [ErrWanders], [ErrAliased], [ErrExact].
func Nonlinear(f Function, subjects []Subject, start []float64, opt NonlinearOptions) (*NonlinearFit, error) {
	if err := checkNonlinear(f, subjects, start, opt); err != nil {
		return nil, err
	}
	s := newSearch(f, subjects, start, opt)
	for round := 1; round <= mostRounds; round++ {
		before := append(append([]float64(nil), s.beta...), s.theta...)
		if err := s.penalised(); err != nil {
			return nil, err
		}
		sum := s.linearise()
		theta, m, ok := sum.fit(s.theta)
		if math.IsInf(m.criterion, 0) || (!ok && round > 50) {
			if !ok {
				return nil, ErrWanders
			}
			return nil, sum.why()
		}
		s.adopt(sum, theta, m)
		if change(before, append(append([]float64(nil), s.beta...), s.theta...)) < settled {
			return s.result(sum, m, round), nil
		}
	}
	return nil, ErrWanders
}

func change(a, b []float64) float64 {
	most := 0.0
	for i := range a {
		most = math.Max(most, math.Abs(a[i]-b[i])/(1e-3+math.Abs(b[i])))
	}
	return most
}

func checkNonlinear(f Function, subjects []Subject, start []float64, opt NonlinearOptions) error {
	if f.P < 1 || len(start) != f.P {
		return fmt.Errorf("a curve of %d parameters needs as many to start from, not %d", f.P, len(start))
	}
	if len(opt.Random) == 0 {
		return fmt.Errorf("nothing differs between trainees: fit a curve without a cohort, or name a parameter that differs")
	}
	for i, r := range opt.Random {
		if r < 0 || r >= f.P || i > 0 && r <= opt.Random[i-1] {
			return fmt.Errorf("the parameters that differ, %v, must rise and lie in 0..%d", opt.Random, f.P-1)
		}
	}
	n, some := 0, 0
	for _, s := range subjects {
		if len(s.X) != len(s.Y) {
			return fmt.Errorf("trainee %s has %d x for %d y: give one for each", s.Name, len(s.X), len(s.Y))
		}
		for i := range s.X {
			if !(math.Abs(s.X[i]) <= 1e50) || !(math.Abs(s.Y[i]) <= 1e50) {
				return fmt.Errorf("trainee %s, drill %d: x = %g and y = %g must be finite numbers", s.Name, i+1, s.X[i], s.Y[i])
			}
		}
		n += len(s.X)
		if len(s.X) > 0 {
			some++
		}
	}
	if more := 2 - some; more > 0 {
		return &TooFew{more, "trainees"}
	}
	if more := f.P + 2 - n; more > 0 {
		return &TooFew{more, "drills"}
	}
	for _, v := range start {
		if !finite(v) {
			return fmt.Errorf("the start %v is not finite", start)
		}
	}
	return nil
}

// search is where a fit stands: shared parameters, each trainee's u (b = lambda u), the factor.
type search struct {
	Function
	subjects []Subject
	opt      NonlinearOptions
	p, q     int
	beta     []float64
	u        [][]float64
	theta    []float64
	scale    []float64
	lambda   []float64
	slope    []float64
	par      []float64
}

func newSearch(f Function, subjects []Subject, start []float64, opt NonlinearOptions) *search {
	s := &search{Function: f, subjects: subjects, opt: opt, p: f.P, q: len(opt.Random), beta: append([]float64(nil), start...)}
	s.slope, s.par = make([]float64, s.p), make([]float64, s.p)
	for range subjects {
		s.u = append(s.u, make([]float64, s.q))
	}
	sum := s.linearise() // lambda is not used while u is 0
	s.theta, s.scale = sum.start(), sum.scale
	s.lambda = sum.lambda(s.theta)
	return s
}

// at writes a trainee's own parameters to s.par.
func (s *search) at(beta, u []float64) []float64 {
	copy(s.par, beta)
	for k, r := range s.opt.Random {
		for j := 0; j <= k && s.lambda != nil; j++ {
			s.par[r] += s.lambda[k*s.q+j] * u[j]
		}
	}
	return s.par
}

// cost is the penalised sum of squares; not finite where the curve is none.
func (s *search) cost(beta []float64, u [][]float64) float64 {
	sum := 0.0
	for g, subject := range s.subjects {
		par := s.at(beta, u[g])
		for i, x := range subject.X {
			r := subject.Y[i] - s.Value(par, x, s.slope)
			sum += r * r
		}
		for _, v := range u[g] {
			sum += v * v
		}
	}
	return sum
}

// linearise sums up the model made linear where the search stands, for the change of beta: its
// outcomes are the residuals with the trainees' departures put back.
func (s *search) linearise() *sums {
	sum := newSums(s.p, s.q, s.opt.Diagonal, false)
	z := make([]float64, s.q)
	for g, subject := range s.subjects {
		sum.group()
		par := s.at(s.beta, s.u[g])
		b := make([]float64, s.q)
		for k, r := range s.opt.Random {
			b[k] = par[r] - s.beta[r]
		}
		for i, x := range subject.X {
			y := subject.Y[i] - s.Value(par, x, s.slope)
			for k, r := range s.opt.Random {
				z[k] = s.slope[r]
				y += z[k] * b[k]
			}
			sum.add(s.slope, z, y)
		}
	}
	if sum.scale = s.scale; s.scale == nil {
		sum.units()
	}
	return sum
}

// adopt takes over what the linear model found.
func (s *search) adopt(sum *sums, theta []float64, m solved) {
	s.theta, s.lambda = theta, sum.lambda(theta)
	for i, d := range m.beta {
		s.beta[i] += d
	}
	for g := range s.subjects {
		u := append([]float64(nil), m.cu[g]...)
		for k := range s.q {
			for i, d := range m.beta {
				u[k] -= m.rzx[g][k*s.p+i] * d
			}
		}
		backward(m.lz[g], s.q, u, 1)
		s.u[g] = u
	}
}

// penalised moves beta and every u to the least penalised sum of squares at the present factor, by
// Gauss-Newton steps that are shortened until they go down.
func (s *search) penalised() error {
	now := s.cost(s.beta, s.u)
	if !finite(now) {
		return ErrWanders
	}
	for range 100 {
		sum := s.linearise()
		m := sum.at(s.theta, sum.work(), true)
		if math.IsInf(m.criterion, 0) {
			return sum.why()
		}
		step := &search{}
		*step = *s
		step.beta = append([]float64(nil), s.beta...)
		step.u = make([][]float64, len(s.u))
		step.adopt(sum, s.theta, m)
		beta, u := make([]float64, s.p), make([][]float64, len(s.u))
		for g := range u {
			u[g] = make([]float64, s.q)
		}
		for part := 1.0; ; part /= 2 {
			if part < 1e-9 {
				return nil // as low as rounding lets it go
			}
			for i := range beta {
				beta[i] = s.beta[i] + part*(step.beta[i]-s.beta[i])
			}
			for g := range u {
				for k := range u[g] {
					u[g][k] = s.u[g][k] + part*(step.u[g][k]-s.u[g][k])
				}
			}
			then := s.cost(beta, u)
			if then <= now*(1+1e-14) {
				gain := now - then
				s.beta, s.u, now = beta, u, then
				if gain <= 1e-13*now && part == 1 {
					return nil
				}
				break
			}
		}
	}
	return ErrWanders
}

func (s *search) result(sum *sums, m solved, round int) *NonlinearFit {
	f := &NonlinearFit{Fixed: s.beta, N: sum.n, Iterations: round, Options: s.opt, f: s.Function, factor: s.lambda, theta: s.theta, scale: s.scale}
	linear := &Fit{s: sum, theta: s.theta}
	linear.fill(m)
	f.Errors, f.FixedCov, f.Random, f.Sigma = linear.Errors, linear.FixedCov, linear.Random, linear.Sigma
	f.LogLik, f.AIC, f.BIC = linear.LogLik, linear.AIC, linear.BIC
	b, cov := sum.effects(s.theta, m)
	for g, subject := range s.subjects {
		e := Effect{Name: subject.Name, B: b[g], Cov: square(cov[g], s.q)}
		for i := range e.Cov {
			for j := range e.Cov[i] {
				e.Cov[i][j] *= f.Sigma * f.Sigma
			}
		}
		f.Effects = append(f.Effects, e)
	}
	return f
}
