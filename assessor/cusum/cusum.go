// Package cusum follows a series and signals when it shows a change: the learning-curve CUSUM of
// Biau and Porcher 2010 (Stat Med 29:1900-9) here, and in files of their own the Bernoulli CUSUM
// ([Bernoulli]), the risk-adjusted CUSUM of Steiner et al. 2000 ([RiskAdjusted]), and for measures
// the normal CUSUM of Page 1954 ([Normal]) and the exponentially weighted moving average of
// Roberts 1959 ([EWMA]).
//
// The learning-curve chart follows drills that were each met or missed, and signals when they show
// an adequate rate of failure. It starts from the belief that the trainee is not yet adequate. Its
// score rises after a success, falls after a failure, never falls below 0, and signals adequacy at
// the first drill at which it reaches the limit:
//
//	S(0) = 0,  S(t) = max(0, S(t-1) + w),
//	w = ln((1-p0)/(1-p1)) > 0 after a success, ln(p0/p1) < 0 after a failure,
//
// with p0 the adequate and p1 > p0 the inadequate failure rate, natural logarithms.
//
// A limit means nothing without the number of drills over which its false signals are counted:
// with p0 = 0.10, p1 = 0.25 and limit 1.25, an inadequate trainee signals within 50 drills with
// probability 0.89. So a [Chart] always carries its limit, that number, and both probabilities,
// and [Limit] finds the limit for a stated false-signal probability. All probabilities are exact:
// every score that can be reached is enumerated (walk.go).
//
// A signal is evidence for a supervisor to weigh. It passes nobody and fails nobody.
package cusum

import (
	"fmt"
	"math"
)

// Chart is a learning-curve CUSUM with all that is needed to read it. Make it with [New] or
// [Limit]; the fields are then consistent.
type Chart struct {
	Adequate    float64 // p0, failure rate of an adequate trainee, 0 < p0 < p1
	Inadequate  float64 // p1, failure rate of an inadequate trainee, p1 < 1
	H           float64 // limit: a score of at least H signals
	Drills      int     // number of drills over which the two probabilities below are stated
	FalseSignal float64 // probability of a signal within Drills at the inadequate rate
	TrueSignal  float64 // probability of a signal within Drills at the adequate rate
}

// rounding is how far apart two scores may be and still count as equal: a score is a sum of up
// to a few thousand terms of order 1.
const rounding = 1e-11

// Bounds of a chart, so that every run-length distribution is computed in bounded time (a second
// or so at the worst; microseconds for charts in use).
const (
	mostSuccesses = 2_000  // successes in a row from 0 to a signal
	mostDrills    = 10_000 // drills over which probabilities are stated
)

// New makes a chart with a given limit h, and computes its two probabilities over n drills. It is
// an error unless 0 < p0 < p1 < 1, h > 0 and n >= 1.
func New(p0, p1, h float64, n int) (Chart, error) {
	c := Chart{Adequate: p0, Inadequate: p1, H: h, Drills: n}
	if err := c.check(); err != nil {
		return Chart{}, err
	}
	c.FalseSignal = c.Within(p1, n)
	c.TrueSignal = c.Within(p0, n)
	return c, nil
}

func (c Chart) check() error {
	switch {
	case !(c.Adequate > 0 && c.Adequate < c.Inadequate && c.Inadequate < 1):
		return fmt.Errorf("failure rates %g (adequate) and %g (inadequate) make no chart: give 0 < adequate < inadequate < 1", c.Adequate, c.Inadequate)
	case !(c.H > 0) || math.IsInf(c.H, 1):
		return fmt.Errorf("limit %g makes no chart: give a number above 0", c.H)
	case c.Drills < 1:
		return fmt.Errorf("the probabilities of a chart are stated over a number of drills, at least 1, not %d", c.Drills)
	case c.Drills > mostDrills:
		return fmt.Errorf("%d drills are too many for a chart: at most %d", c.Drills, mostDrills)
	}
	success, _ := c.Weights()
	if c.H/success > mostSuccesses {
		return fmt.Errorf("limit %g for failure rates %g and %g asks for %.0f successes in a row: at most %d; lower the limit or set the rates further apart", c.H, c.Adequate, c.Inadequate, c.H/success, mostSuccesses)
	}
	return nil
}

// Weights returns what one success adds to the score (above 0) and one failure (below 0).
func (c Chart) Weights() (success, failure float64) {
	return math.Log1p(-c.Adequate) - math.Log1p(-c.Inadequate), math.Log(c.Adequate / c.Inadequate)
}

// SuccessesToSignal is the smallest number of successes in a row that signals from a score of 0.
func (c Chart) SuccessesToSignal() int {
	success, _ := c.Weights()
	return int(math.Ceil((c.H - rounding) / success))
}

// Path is a chart drawn over a series of drills.
type Path struct {
	Scores []float64 // score after each drill, one for each outcome, never below 0
	Signal int       // number of the drill, counted from 1, that signalled first; 0: none yet
}

// String says what the chart is and how far its signal can be trusted.
func (c Chart) String() string {
	return fmt.Sprintf("limit %.2f for failure rates %g (adequate) and %g (inadequate): within %d drills an inadequate trainee signals with probability %.3f, an adequate one with %.3f",
		c.H, c.Adequate, c.Inadequate, c.Drills, c.FalseSignal, c.TrueSignal)
}
