package logistic

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Profile gives the interval of coefficient j at a confidence level by profile likelihood: the
// values at which the log likelihood, the other coefficients refitted, stands no more than half
// the chi-squared quantile below its maximum. It is better than [Model.Wald] when data are few.
//
// It is an error for a level outside 0..1, a coefficient that is none, and when the likelihood
// does not fall far enough on one side (the interval is then open there; the error says which).
func (m *Model) Profile(j int, level float64) (low, high float64, err error) {
	if err := m.check(j, level); err != nil {
		return 0, 0, err
	}
	bound := distuv.ChiSquared{K: 1}.Quantile(level) / 2
	if low, err = m.edge(j, bound, -1); err != nil {
		return 0, 0, err
	}
	high, err = m.edge(j, bound, 1)
	return low, high, err
}

// edge searches one end: first outwards in steps of a standard error, then by the secant rule on
// the signed root of the fall, which is nearly straight.
func (m *Model) edge(j int, bound, sign float64) (float64, error) {
	want := math.Sqrt(bound)
	beta := append([]float64(nil), m.Coefficients...)
	root := func(at float64) (float64, error) {
		beta[j] = at
		s := scoring{x: m.x, y: m.y, fixed: j}
		next, _, err := s.run(beta)
		if err != nil {
			return 0, err
		}
		copy(beta, next)
		return math.Sqrt(math.Max(0, m.LogLik-s.logLik(next))), nil
	}
	near, atNear := m.Coefficients[j], 0.0
	far, atFar := near, 0.0
	for step := 1; atFar < want; step++ {
		if step > 40 {
			return 0, fmt.Errorf("the interval of coefficient %d is open on one side: the data do not bound it", j)
		}
		near, atNear = far, atFar
		far += sign * m.Errors[j]
		v, err := root(far)
		if err != nil {
			return 0, fmt.Errorf("the interval of coefficient %d is open on one side: %w", j, err)
		}
		atFar = v
	}
	for range 60 {
		at := near + (want-atNear)/(atFar-atNear)*(far-near)
		v, err := root(at)
		if err != nil {
			return 0, err
		}
		if math.Abs(v-want) < 1e-9*want {
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
