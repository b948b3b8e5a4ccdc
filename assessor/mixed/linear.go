package mixed

import (
	"fmt"
	"math"
)

// Group is one trainee's data: outcomes Y, and for each a row of fixed-effect covariates X and of
// random-effect covariates Z (write the intercepts' ones yourself).
type Group struct {
	Name string
	Y    []float64
	X, Z [][]float64
}

// Options of a linear fit.
type Options struct {
	ML       bool // maximum likelihood; false: restricted maximum likelihood
	Diagonal bool // random effects independent of each other
}

// Fit is a fitted linear mixed model y = X beta + Z b + e, with b of each trainee normal around 0
// with covariance Random, e normal with standard deviation Sigma.
type Fit struct {
	Fixed, Errors []float64   // fixed effects and their standard errors
	FixedCov      [][]float64 // their covariance
	Random        [][]float64 // covariance of the random effects
	Sigma         float64
	Criterion     float64 // -2 log likelihood, restricted unless ML
	LogLik        float64
	AIC, BIC      float64
	Effects       []Effect // in the groups' order
	N             int      // outcomes
	Options       Options

	s     *sums
	theta []float64
}

// Effect is one trainee's departure from what is shared, given the data: the best linear unbiased
// predictor and its conditional covariance (the fixed effects taken as known).
type Effect struct {
	Name string
	B    []float64
	Cov  [][]float64
}

// Linear fits the model. All rows have the same numbers of covariates. Errors: values that are not
// finite or rows of other lengths; a *TooFew with fewer than 2 trainees or no more outcomes than
// fixed effects; [ErrAliased], [ErrExact], [ErrWanders]. A variance may come out 0.
func Linear(groups []Group, opt Options) (*Fit, error) {
	s, err := gather(groups, opt)
	if err != nil {
		return nil, err
	}
	theta, m, ok := s.fit(s.start())
	if math.IsInf(m.criterion, 0) {
		return nil, s.why()
	}
	if !ok {
		return nil, ErrWanders
	}
	f := &Fit{Options: opt, s: s, theta: theta, N: s.n}
	f.fill(m)
	b, cov := s.effects(theta, m)
	for g := range groups {
		e := Effect{Name: groups[g].Name, B: b[g], Cov: square(cov[g], s.q)}
		for i := range e.Cov {
			for j := range e.Cov[i] {
				e.Cov[i][j] *= f.Sigma * f.Sigma
			}
		}
		f.Effects = append(f.Effects, e)
	}
	return f, nil
}

// why tells apart what makes a criterion infinite at the start.
func (s *sums) why() error {
	rx := append([]float64(nil), s.xx...)
	if !cholesky(rx, s.p) {
		return ErrAliased
	}
	return ErrExact
}

func (f *Fit) fill(m solved) {
	s := f.s
	variance := s.variance(m)
	f.Sigma = math.Sqrt(variance)
	f.Fixed = append([]float64(nil), m.beta...)
	for i, v := range s.level {
		f.Fixed[i] += v
	}
	cov := inverse(m.rx, s.p)
	for i := range cov {
		cov[i] *= variance
	}
	f.FixedCov = square(cov, s.p)
	for i := range s.p {
		f.Errors = append(f.Errors, math.Sqrt(f.FixedCov[i][i]))
	}
	identity := make([]float64, s.q*s.q)
	for i := range s.q {
		identity[i*s.q+i] = 1
	}
	random := between(s.lambda(f.theta), identity, s.q)
	for i := range random {
		random[i] *= variance
	}
	f.Random = square(random, s.q)
	f.Criterion = m.criterion
	f.LogLik = -m.criterion / 2
	parameters := float64(s.p + len(f.theta) + 1)
	f.AIC = m.criterion + 2*parameters
	f.BIC = m.criterion + parameters*math.Log(float64(s.n))
}

// gather checks the groups and sums them up.
func gather(groups []Group, opt Options) (*sums, error) {
	if more := 2 - len(groups); more > 0 {
		return nil, &TooFew{more, "trainees"}
	}
	var s *sums
	for _, g := range groups {
		if len(g.X) != len(g.Y) || len(g.Z) != len(g.Y) {
			return nil, fmt.Errorf("trainee %s has %d outcomes, %d rows of X and %d of Z: give one row for each outcome", g.Name, len(g.Y), len(g.X), len(g.Z))
		}
		for i, y := range g.Y {
			if s == nil {
				s = newSums(len(g.X[i]), len(g.Z[i]), opt.Diagonal, !opt.ML)
				if s.p == 0 || s.q == 0 || s.p > 50 || s.q > 10 {
					return nil, fmt.Errorf("a model has 1 to 50 fixed and 1 to 10 random effects, not %d and %d", s.p, s.q)
				}
			}
			if len(g.X[i]) != s.p || len(g.Z[i]) != s.q {
				return nil, fmt.Errorf("trainee %s, outcome %d: %d and %d covariates, others have %d and %d", g.Name, i+1, len(g.X[i]), len(g.Z[i]), s.p, s.q)
			}
			for _, v := range append(append([]float64{y}, g.X[i]...), g.Z[i]...) {
				if !(math.Abs(v) <= 1e100) {
					return nil, fmt.Errorf("trainee %s, outcome %d: the value %g is no finite number up to 1e100", g.Name, i+1, v)
				}
			}
		}
	}
	if s == nil {
		return nil, &TooFew{1, "outcomes"}
	}
	for _, g := range groups {
		for i, y := range g.Y {
			s.addFixed(g.X[i], y)
		}
	}
	if more := s.p + 1 - s.n; more > 0 {
		return nil, &TooFew{more, "outcomes"}
	}
	// Around ordinary least squares the sums are small, and lose fewer digits.
	level, ok := s.ordinary()
	if !ok {
		return nil, ErrAliased
	}
	out := newSums(s.p, s.q, opt.Diagonal, !opt.ML)
	out.level = level
	for _, g := range groups {
		out.group()
		for i, y := range g.Y {
			for j, x := range g.X[i] {
				y -= x * level[j]
			}
			out.add(g.X[i], g.Z[i], y)
		}
	}
	if !(out.yy > 1e-20*s.yy) {
		return nil, ErrExact
	}
	out.units()
	return out, nil
}
