package agree

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Component is one source of variation, by restricted maximum likelihood.
type Component struct {
	Name     string
	Variance float64 // in squared units of the score, at least 0
	// Error is the standard error from the average information; 0 when the variance is 0, where
	// none is defined. It is a rough guide: a variance is far from normal. Use Study.Intervals.
	Error float64
}

// Study is a generalizability study. Its methods are for one goroutine at a time.
type Study struct {
	Design                         Design
	Persons, Items, Raters, Scores int  // Items or Raters is 0 when the design has none; Raters of one item when nested
	Balanced                       bool // every cell is filled
	Strata                         []Stratum
	Components                     []Component
	Mean, MeanError                float64 // grand mean (generalized least squares) with its standard error
	LogLikelihood                  float64 // restricted, with the constant (N-1) log 2 pi

	equations *equations
	variances []float64 // in units of the layout, as maximised
	top       float64   // restricted log-likelihood there, in the same units
	parts     [][]float64
}

// Generalize finds the variance components of a design from scores in any order.
//
// Model: a score is the grand mean plus one random effect for each source in the design, each
// independent with mean 0 and its own variance; the highest interaction and error are one
// (residual). For intervals and standard errors the effects are taken to be normal. Source: Brennan
// 2001, Generalizability Theory; restricted maximum likelihood as Patterson and Thompson 1971.
//
// Components holds the restricted maximum likelihood estimates, for balanced or unbalanced scores.
// For balanced scores Strata holds the analysis of variance too, with components that may come out
// below 0; when none does, the two agree. [Study.Variances] gives the set that a decision study
// uses.
//
// Fewer than two persons, items or raters is a [NotYet]. It is an error when a score is not finite or
// stands twice, when all scores are alike, when the components cannot be told apart in these scores
// (each person scored by a single rater, say; the error names them), when no residual is left, or
// when the search does not settle.
func Generalize(observations []Observation, d Design) (*Study, error) {
	l, err := lay(observations, d)
	if err != nil {
		return nil, err
	}
	e, err := newEquations(l)
	if err != nil {
		return nil, err
	}
	if err := e.distinct(); err != nil {
		return nil, err
	}
	s := &Study{Design: d, Persons: l.persons, Scores: len(l.y), Balanced: l.balanced(), equations: e}
	if d.has(item) {
		s.Items = l.items
	}
	if d.has(rater) {
		s.Raters = l.raters
	}
	square := l.scale * l.scale
	start := make([]float64, e.residual+1)
	for k := range start {
		start[k] = 1 / float64(len(start))
	}
	if s.Balanced {
		s.Strata, s.parts = l.strata()
		if s.Strata[e.residual].MS < leastRest {
			return nil, errExplained
		}
		for k, line := range s.Strata {
			start[k] = math.Max(line.Variance, 0)
			s.Strata[k].SS *= square
			s.Strata[k].MS *= square
			s.Strata[k].Variance *= square
		}
	}
	v, at, err := e.maximise(start, nil, fine)
	if err != nil {
		return nil, err
	}
	s.variances, s.top = v, at.value
	s.fill(at)
	return s, nil
}

// fill brings the estimates back to the units of the scores.
func (s *Study) fill(at *likelihood) {
	l := s.equations.l
	square := l.scale * l.scale
	errors := at.errors(s.variances)
	for k, e := range s.Design.effects() {
		s.Components = append(s.Components, Component{e.name, s.variances[k] * square, errors[k] * square})
	}
	s.Mean = l.shift + l.scale*at.mean
	s.MeanError = l.scale * math.Sqrt(at.meanVar)
	s.LogLikelihood = at.value - float64(len(l.y)-1)*math.Log(l.scale)
}

// errors inverts the information of the variances above 0.
func (l *likelihood) errors(v []float64) []float64 {
	var free []int
	for k := range v {
		if v[k] > 0 {
			free = append(free, k)
		}
	}
	a := mat.NewSymDense(len(free), nil)
	for i, k := range free {
		for j := i; j < len(free); j++ {
			a.SetSym(i, j, l.information.At(k, free[j]))
		}
	}
	out := make([]float64, len(v))
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(a) || chol.InverseTo(&inverse) != nil {
		return out
	}
	for i, k := range free {
		if x := inverse.At(i, i); x > 0 && finite(x) {
			out[k] = math.Sqrt(x)
		}
	}
	return out
}

// Variances is the set of components a decision study should use: those by mean squares, with
// those below 0 put to 0, when the scores are balanced (as Brennan 2001 does), and those by
// restricted maximum likelihood otherwise.
func (s *Study) Variances() Variances {
	if !s.Balanced {
		return s.Restricted()
	}
	v := Variances{Design: s.Design}
	for _, line := range s.Strata {
		v.Values = append(v.Values, math.Max(0, line.Variance))
	}
	return v
}

// Restricted is the set of components by restricted maximum likelihood.
func (s *Study) Restricted() Variances {
	v := Variances{Design: s.Design}
	for _, c := range s.Components {
		v.Values = append(v.Values, c.Variance)
	}
	return v
}
