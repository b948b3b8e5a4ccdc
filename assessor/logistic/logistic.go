// Package logistic fits logistic regressions: how the chance of an outcome depends on covariates.
//
// Model: outcomes are independent, each met with probability p, and
//
//	ln(p/(1-p)) = b0 + b1 x1 + b2 x2 + ...
//
// Estimation is by maximum likelihood (Fisher scoring; McCullagh and Nelder 1989, Generalized
// Linear Models, ch. 4), with Wald and profile-likelihood intervals. Checked against R's glm;
// testdata/statistics/README.md has the sources. Where a covariate tells the two outcomes apart
// completely no estimate exists, and the answer is an error that says so, not a large number.
//
// It serves the packages that need it: case-mix models, contrasting groups, retention.
package logistic

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Model is a fitted regression. Coefficient 0 is the intercept, coefficient j that of covariate j
// counted from 1; all are on the log-odds scale.
type Model struct {
	Coefficients []float64
	Errors       []float64   // standard errors, from the inverse information
	Covariance   [][]float64 // of the coefficients
	Fitted       []float64   // probability of each observation
	N, Met       int         // observations, and how many of them were met
	LogLik       float64
	Deviance     float64
	NullDeviance float64 // of the intercept alone
	AIC          float64

	x [][]float64 // with the intercept's column first
	y []bool
}

// Why a fit can end without an answer.
var (
	// ErrSeparated means that outcomes are told apart completely by the covariates, in whole or in
	// part, so that some coefficient would grow without end.
	ErrSeparated = errors.New("the covariates tell met and missed apart completely, so their coefficients have no finite estimate; gather more data or leave a covariate out")
	// ErrAliased means that the covariates do not vary or that one is a combination of others.
	ErrAliased = errors.New("the covariates cannot be told apart: one does not vary, or is a combination of others; leave it out")
)

// TooFew says that there is too little data to fit, and how much more it takes.
type TooFew struct {
	More int    // observations wanted, at least 1
	Of   string // what of: "observations", "met", "missed"
}

// Error reads "not enough yet: 3 more observations".
func (e *TooFew) Error() string { return fmt.Sprintf("not enough yet: %d more %s", e.More, e.Of) }

const mostSteps = 60

// Fit fits outcomes y (true: met) to the covariates x, one row for each outcome, all rows of the
// same length (0 for an intercept alone). Units of x are the caller's, up to 1e100.
//
// Errors: rows of different length or values that are not finite; a *TooFew with fewer
// observations than coefficients plus one, or with one kind of outcome only; [ErrSeparated];
// [ErrAliased].
func Fit(x [][]float64, y []bool) (*Model, error) {
	m, err := ready(x, y)
	if err != nil {
		return nil, err
	}
	s := scoring{x: m.x, y: m.y, fixed: -1}
	beta, info, err := s.run(make([]float64, len(m.x[0])))
	if err != nil {
		return nil, err
	}
	p := len(beta)
	m.Coefficients = beta
	if m.Covariance, err = info.inverse(); err != nil {
		return nil, err
	}
	for j := range p {
		m.Errors = append(m.Errors, math.Sqrt(m.Covariance[j][j]))
	}
	m.Fitted = make([]float64, m.N)
	for i, row := range m.x {
		m.Fitted[i] = probability(dot(row, beta))
	}
	m.LogLik = s.logLik(beta)
	m.Deviance = -2 * m.LogLik
	share := float64(m.Met) / float64(m.N)
	m.NullDeviance = -2 * (float64(m.Met)*math.Log(share) + float64(m.N-m.Met)*math.Log1p(-share))
	m.AIC = m.Deviance + 2*float64(p)
	return m, nil
}

func ready(x [][]float64, y []bool) (*Model, error) {
	if len(x) != len(y) {
		return nil, fmt.Errorf("%d rows of covariates for %d outcomes: give one for each", len(x), len(y))
	}
	m := &Model{N: len(y), y: y}
	for i, row := range x {
		if len(row) != len(x[0]) {
			return nil, fmt.Errorf("row %d has %d covariates, row 1 has %d", i+1, len(row), len(x[0]))
		}
		for _, v := range row {
			if !(math.Abs(v) <= 1e100) {
				return nil, fmt.Errorf("row %d has the value %g: give finite numbers up to 1e100", i+1, v)
			}
		}
		m.x = append(m.x, append([]float64{1}, row...))
		if y[i] {
			m.Met++
		}
	}
	want := 2
	if len(x) > 0 {
		want = len(x[0]) + 2
	}
	switch {
	case m.N < want:
		return nil, &TooFew{want - m.N, "observations"}
	case m.Met == 0:
		return nil, &TooFew{1, "met: all were missed"}
	case m.Met == m.N:
		return nil, &TooFew{1, "missed: all were met"}
	}
	return m, nil
}

// scoring is Fisher scoring, with one coefficient held at a value when fixed is its index.
type scoring struct {
	x     [][]float64
	y     []bool
	fixed int
}

// run searches from beta and returns the estimates and the factorised information at them (of the
// free coefficients; the fixed one counts as known).
func (s scoring) run(beta []float64) ([]float64, factor, error) {
	beta = append([]float64(nil), beta...)
	scale := s.scales()
	now := s.logLik(beta)
	for range mostSteps {
		score, info, err := s.information(beta)
		if err != nil {
			return nil, info, err
		}
		step, err := info.solve(score)
		if err != nil {
			return nil, info, err
		}
		largest, tried := 0.0, make([]float64, len(beta))
		for part := 1.0; ; part /= 2 {
			largest = 0
			for j := range beta {
				tried[j] = beta[j] + part*step[j]
				largest = math.Max(largest, math.Abs(part*step[j])*scale[j])
			}
			if then := s.logLik(tried); then >= now-1e-9*math.Abs(now) || part < 1e-4 {
				now = then
				break
			}
		}
		beta = tried
		if largest < 1e-9 {
			// The step just taken squared what was left of the error.
			_, info, err := s.information(beta)
			return beta, info, err
		}
	}
	return nil, factor{}, ErrSeparated
}

// scales is the size of each column.
func (s scoring) scales() []float64 {
	out := make([]float64, len(s.x[0]))
	for _, row := range s.x {
		for j, v := range row {
			out[j] = math.Max(out[j], math.Abs(v))
		}
	}
	return out
}

// information is the score and the factorised information at beta.
func (s scoring) information(beta []float64) (*mat.VecDense, factor, error) {
	p := len(beta)
	score, info := mat.NewVecDense(p, nil), mat.NewSymDense(p, nil)
	raw := info.RawSymmetric()
	for i, row := range s.x {
		mu := probability(dot(row, beta))
		w := mu * (1 - mu)
		r := -mu
		if s.y[i] {
			r = 1 - mu
		}
		for j, v := range row {
			score.SetVec(j, score.AtVec(j)+v*r)
			wv := w * v
			for k := j; k < p; k++ {
				raw.Data[j*raw.Stride+k] += wv * row[k]
			}
		}
	}
	// Scaled to 1 on the diagonal, a near-singular matrix shows itself whatever the units.
	f := factor{length: make([]float64, p)}
	unit, tiny := mat.NewSymDense(p, nil), false
	for j := range p {
		f.length[j] = math.Sqrt(info.At(j, j))
		tiny = tiny || !(f.length[j] > 0)
	}
	for j := range p {
		for k := j; k < p; k++ {
			v := info.At(j, k) / f.length[j] / f.length[k]
			if s.fixed >= 0 && j != k && (j == s.fixed || k == s.fixed) {
				v = 0
			}
			unit.SetSym(j, k, v)
		}
	}
	if s.fixed >= 0 {
		score.SetVec(s.fixed, 0)
	}
	if tiny || !f.chol.Factorize(unit) || f.chol.Cond() > 1e13 {
		if s.extreme(beta) {
			return nil, f, ErrSeparated
		}
		return nil, f, ErrAliased
	}
	return score, f, nil
}

// factor is an information matrix, factorised with its diagonal scaled to 1.
type factor struct {
	chol   mat.Cholesky
	length []float64 // roots of the diagonal
}

// solve gives the information's inverse times the score.
func (f *factor) solve(score *mat.VecDense) ([]float64, error) {
	scaled := mat.NewVecDense(len(f.length), nil)
	for j, l := range f.length {
		scaled.SetVec(j, score.AtVec(j)/l)
	}
	var step mat.VecDense
	if err := f.chol.SolveVecTo(&step, scaled); err != nil {
		return nil, ErrAliased
	}
	out := make([]float64, len(f.length))
	for j, l := range f.length {
		out[j] = step.AtVec(j) / l
	}
	return out, nil
}

// inverse is the covariance of the estimates.
func (f *factor) inverse() ([][]float64, error) {
	var inverse mat.SymDense
	if err := f.chol.InverseTo(&inverse); err != nil {
		return nil, ErrAliased
	}
	out := make([][]float64, len(f.length))
	for i := range out {
		out[i] = make([]float64, len(f.length))
		for j := range out[i] {
			out[i][j] = inverse.At(i, j) / f.length[i] / f.length[j]
		}
	}
	return out, nil
}

// extreme says whether some probability has run to 0 or 1.
func (s scoring) extreme(beta []float64) bool {
	for _, row := range s.x {
		if math.Abs(dot(row, beta)) > 15 {
			return true
		}
	}
	return false
}

func (s scoring) logLik(beta []float64) float64 {
	sum := 0.0
	for i, row := range s.x {
		eta := dot(row, beta)
		if s.y[i] {
			eta = -eta
		}
		// ln p = -ln(1+exp(-eta)), without overflow.
		sum -= math.Max(eta, 0) + math.Log1p(math.Exp(-math.Abs(eta)))
	}
	return sum
}

func probability(eta float64) float64 {
	if eta >= 0 {
		return 1 / (1 + math.Exp(-eta))
	}
	e := math.Exp(eta)
	return e / (1 + e)
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// Probability is the model's chance of the outcome for one row of covariates, 0..1; NaN for a row
// of the wrong length.
func (m *Model) Probability(row []float64) float64 {
	if len(row)+1 != len(m.Coefficients) {
		return math.NaN()
	}
	return probability(m.Coefficients[0] + dot(row, m.Coefficients[1:]))
}

// Wald gives the interval of coefficient j at a confidence level (0.95 for 95 %) from its standard
// error. It is an error for a level outside 0..1 or a coefficient that is none.
func (m *Model) Wald(j int, level float64) (low, high float64, err error) {
	if err := m.check(j, level); err != nil {
		return 0, 0, err
	}
	half := distuv.UnitNormal.Quantile((1+level)/2) * m.Errors[j]
	return m.Coefficients[j] - half, m.Coefficients[j] + half, nil
}

func (m *Model) check(j int, level float64) error {
	if j < 0 || j >= len(m.Coefficients) {
		return fmt.Errorf("there is no coefficient %d: the model has 0 to %d", j, len(m.Coefficients)-1)
	}
	if !(level > 0 && level < 1) {
		return fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	return nil
}
