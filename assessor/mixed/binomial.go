package mixed

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// Counts is one trainee's binary data: for each row of covariates X (write the intercept's one
// yourself) how many of Trials were met.
type Counts struct {
	Name        string
	X           [][]float64
	Met, Trials []int
}

// BinomialFit is a fitted model in which the log odds are X beta + b, with b of each trainee normal
// around 0 with standard deviation Between.
type BinomialFit struct {
	Fixed, Errors []float64
	FixedCov      [][]float64
	Between       float64
	LogLik        float64
	AIC, BIC      float64
	Effects       []Effect // B of length 1: the mode given the data; Cov its curvature
	N             int      // rows
	Nodes         int
}

// mostTrials bounds a row, so that sums stay exact.
const mostTrials = 1_000_000

// Binomial fits the model by maximum likelihood, the trainees' effects integrated out by adaptive
// Gauss-Hermite quadrature with the given number of nodes (1: Laplace's approximation, as lme4's
// default; 25 is ample; Pinheiro and Bates 1995, J Comput Graph Stat 4:12-35). Standard errors are
// from the curvature of the likelihood in all parameters. The likelihood leaves the binomial
// constants in.
//
// Errors: values that are not finite, counts that cannot be; a *TooFew with fewer than 2 trainees,
// or all or none met; [ErrAliased]; [ErrWanders], among others when a covariate tells met and
// missed apart completely.
func Binomial(groups []Counts, nodes int) (*BinomialFit, error) {
	s, err := gatherCounts(groups, nodes)
	if err != nil {
		return nil, err
	}
	start := make([]float64, s.p+1)
	start[s.p] = 0.5
	best, ok := minimise(s.deviance, start, nil)
	if !ok {
		return nil, ErrWanders
	}
	for i := range s.p {
		// Beyond this every probability is 0 or 1 to rounding for some row: separated.
		if math.Abs(best[i])*s.size[i] > 30 {
			return nil, ErrWanders
		}
	}
	hess := hessian(s.deviance, best, s.deviance(best))
	if hess == nil {
		return nil, ErrWanders
	}
	p := s.p
	f := &BinomialFit{Fixed: best[:p], Between: math.Abs(best[p]), N: s.rows, Nodes: nodes}
	// With no spread between trainees the likelihood is even in it, so the rest stands alone.
	dims := p + 1
	info := mat.NewSymDense(dims, nil)
	for i := range dims {
		for j := i; j < dims; j++ {
			info.SetSym(i, j, hess.At(i, j)/2)
		}
	}
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(info) || chol.InverseTo(&inv) != nil {
		return nil, ErrAliased
	}
	for i := range p {
		row := make([]float64, p)
		for j := range p {
			row[j] = inv.At(i, j)
		}
		f.FixedCov = append(f.FixedCov, row)
		f.Errors = append(f.Errors, math.Sqrt(row[i]))
	}
	f.LogLik = -s.deviance(best)/2 + s.constant
	f.AIC = -2*f.LogLik + 2*float64(dims)
	f.BIC = -2*f.LogLik + float64(dims)*math.Log(float64(s.rows))
	for g := range groups {
		u, curvature := s.mode(g, best)
		f.Effects = append(f.Effects, Effect{groups[g].Name, []float64{f.Between * u * sign(best[p])}, [][]float64{{f.Between * f.Between / curvature}}})
	}
	return f, nil
}

func sign(v float64) float64 {
	if v < 0 {
		return -1
	}
	return 1
}

// counts is a binomial search.
type counts struct {
	groups       []Counts
	p, rows      int
	size         []float64 // largest value of each covariate
	node, weight []float64
	constant     float64 // sum of the logarithms of the binomial coefficients
	eta          []float64
}

func gatherCounts(groups []Counts, nodes int) (*counts, error) {
	if nodes < 1 || nodes > 100 {
		return nil, fmt.Errorf("the quadrature has 1 to 100 nodes, not %d", nodes)
	}
	if more := 2 - len(groups); more > 0 {
		return nil, &TooFew{more, "trainees"}
	}
	s := &counts{groups: groups, p: -1, node: make([]float64, nodes), weight: make([]float64, nodes)}
	met, missed, longest := 0, 0, 0
	for _, g := range groups {
		if len(g.X) != len(g.Met) || len(g.X) != len(g.Trials) {
			return nil, fmt.Errorf("trainee %s has %d rows, %d met and %d trials: give one of each", g.Name, len(g.X), len(g.Met), len(g.Trials))
		}
		longest = max(longest, len(g.X))
		for i, row := range g.X {
			if s.p < 0 {
				s.p = len(row)
				s.size = make([]float64, s.p)
			}
			if len(row) != s.p || s.p == 0 || s.p > 20 {
				return nil, fmt.Errorf("trainee %s, row %d has %d covariates: give 1 to 20, as many in every row", g.Name, i+1, len(row))
			}
			if g.Trials[i] < 1 || g.Trials[i] > mostTrials || g.Met[i] < 0 || g.Met[i] > g.Trials[i] {
				return nil, fmt.Errorf("trainee %s, row %d: %d met of %d is impossible", g.Name, i+1, g.Met[i], g.Trials[i])
			}
			for j, v := range row {
				if !(math.Abs(v) <= 1e6) {
					return nil, fmt.Errorf("trainee %s, row %d: the value %g is no finite number up to 1e6", g.Name, i+1, v)
				}
				s.size[j] = math.Max(s.size[j], math.Abs(v))
			}
			met += g.Met[i]
			missed += g.Trials[i] - g.Met[i]
			s.rows++
			s.constant += choose(g.Trials[i], g.Met[i])
		}
	}
	switch {
	case s.rows == 0:
		return nil, &TooFew{1, "drills"}
	case met == 0:
		return nil, &TooFew{1, "met: all were missed"}
	case missed == 0:
		return nil, &TooFew{1, "missed: all were met"}
	}
	if s.aliased() {
		return nil, ErrAliased
	}
	s.eta = make([]float64, longest)
	quad.Hermite{}.FixedLocations(s.node, s.weight, math.Inf(-1), math.Inf(1))
	return s, nil
}

// aliased says whether the covariates cannot be told apart.
func (s *counts) aliased() bool {
	xx := make([]float64, s.p*s.p)
	for _, g := range s.groups {
		for _, row := range g.X {
			for i, a := range row {
				for j, b := range row {
					xx[i*s.p+j] += a / s.size[i] * b / s.size[j] // NaN for a column of zeros
				}
			}
		}
	}
	return !cholesky(xx, s.p)
}

func choose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// deviance is -2 log likelihood without the binomial constants; par is beta, then the spread
// between trainees, which may be of either sign.
func (s *counts) deviance(par []float64) float64 {
	sum := 0.0
	for g := range s.groups {
		u, curvature := s.mode(g, par)
		scale := 1 / math.Sqrt(curvature)
		if len(s.node) == 1 {
			sum += s.height(g, par[s.p], u) + math.Log(scale)
			continue
		}
		// The integral of exp(height) over u, around the mode; summed from its largest term.
		terms, most := make([]float64, len(s.node)), math.Inf(-1)
		for k, t := range s.node {
			terms[k] = s.height(g, par[s.p], u+math.Sqrt2*scale*t) + t*t + math.Log(s.weight[k])
			most = math.Max(most, terms[k])
		}
		total := 0.0
		for _, v := range terms {
			total += math.Exp(v - most)
		}
		sum += most + math.Log(total*scale/math.Sqrt(math.Pi))
	}
	return -2 * sum
}

// mode finds the u that is likeliest for a trainee and the curvature there, and leaves the fixed
// part of the log odds in eta.
func (s *counts) mode(g int, par []float64) (u, curvature float64) {
	group, spread := s.groups[g], par[s.p]
	for i, row := range group.X {
		s.eta[i] = 0
		for j, v := range row {
			s.eta[i] += v * par[j]
		}
	}
	for range 100 {
		slope := -u
		curvature = 1
		for i := range group.X {
			p := 1 / (1 + math.Exp(-s.eta[i]-spread*u))
			n := float64(group.Trials[i])
			slope += spread * (float64(group.Met[i]) - n*p)
			curvature += spread * spread * n * p * (1 - p)
		}
		// Logarithms of probabilities are concave, so Newton with a bounded step settles.
		step := math.Max(-2, math.Min(2, slope/curvature))
		u += step
		if math.Abs(step) < 1e-12 {
			break
		}
	}
	return u, curvature
}

// height is the log of the likelihood of a trainee's data and u together.
func (s *counts) height(g int, spread, u float64) float64 {
	group, sum := s.groups[g], -u*u/2
	for i := range group.X {
		eta := s.eta[i] + spread*u
		log1 := math.Max(eta, 0) + math.Log1p(math.Exp(-math.Abs(eta))) // ln(1+exp(eta))
		sum += float64(group.Met[i])*eta - float64(group.Trials[i])*log1
	}
	return sum
}
