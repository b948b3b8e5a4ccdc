package cusum

import (
	"fmt"
	"math"
)

// Bernoulli is the CUSUM against deterioration of a series of outcomes that are each met or
// missed: the score rises after a failure, falls after a success, and a signal says that failures
// come at the inadequate rate rather than at the adequate one,
//
//	S(0) = 0,  S(t) = max(0, S(t-1) + w),
//	w = ln(p1/p0) > 0 after a failure, ln((1-p1)/(1-p0)) < 0 after a success.
//
// It assumes independent outcomes with one rate. Source: Reynolds and Stoumbos 1999, J Qual
// Technol 31:87-108 (from memory); checked against an exact chain in R. Make it with
// [NewBernoulli] or [LimitBernoulli].
type Bernoulli struct {
	Adequate    float64 // p0, 0 < p0 < p1
	Inadequate  float64 // p1 < 1
	H           float64 // limit: a score of at least H signals
	Drills      int     // number of outcomes over which the two probabilities below are stated
	FalseSignal float64 // probability of a signal within Drills at the adequate rate
	TrueSignal  float64 // probability of a signal within Drills at the inadequate rate
}

// NewBernoulli makes the chart with a given limit and computes its two probabilities over n
// outcomes. It is an error unless 0 < p0 < p1 < 1, h > 0 and 1 <= n <= 10,000, and when the limit
// is so far that it would take more than 2,000 successes to come back from it.
func NewBernoulli(p0, p1, h float64, n int) (Bernoulli, error) {
	b := Bernoulli{Adequate: p0, Inadequate: p1, H: h, Drills: n}
	if err := (Chart{Adequate: p0, Inadequate: p1, H: h, Drills: n}).check(); err != nil {
		return Bernoulli{}, err
	}
	b.FalseSignal, b.TrueSignal = b.Within(p0, n), b.Within(p1, n)
	return b, nil
}

// LimitBernoulli finds the smallest limit, in steps of [Step], whose probability of a false signal
// within n outcomes at the adequate rate is at most falseSignal. Errors are those of
// [NewBernoulli], a probability outside 0..1, and n so small that even failures alone come from an
// adequate rate more often than that.
func LimitBernoulli(p0, p1 float64, n int, falseSignal float64) (Bernoulli, error) {
	b, err := NewBernoulli(p0, p1, Step, n)
	if err != nil {
		return Bernoulli{}, err
	}
	if !(falseSignal > 0 && falseSignal < 1) {
		return Bernoulli{}, fmt.Errorf("false-signal probability %g is outside 0..1: write 0.05 for one in twenty", falseSignal)
	}
	if unlucky := math.Pow(p0, float64(n)); unlucky > falseSignal {
		return Bernoulli{}, fmt.Errorf("%d outcomes are too few: all of them fail at the adequate rate with probability %.3f, more than %g; state the limit over more", n, unlucky, falseSignal)
	}
	failure, _ := b.Weights()
	h := smallest(int(float64(n)*failure/Step)+1, func(h float64) bool {
		b.H = h
		return b.Within(p0, n) <= falseSignal
	})
	b, err = NewBernoulli(p0, p1, h, n)
	if err == nil && b.TrueSignal == 0 {
		return Bernoulli{}, fmt.Errorf("no limit in steps of %g signals at all within %d outcomes at a false-signal probability of %g; allow more outcomes or more false signals", Step, n, falseSignal)
	}
	return b, err
}

// Weights returns what one failure adds to the score (above 0) and one success (below 0).
func (b Bernoulli) Weights() (failure, success float64) {
	return math.Log(b.Inadequate / b.Adequate), math.Log1p(-b.Inadequate) - math.Log1p(-b.Adequate)
}

func (b Bernoulli) walk() walk {
	failure, success := b.Weights()
	return walk{success, failure, b.H}
}

// Follow draws the chart over a series of outcomes, true for a failure, in order.
func (b Bernoulli) Follow(failures []bool) Path { return b.walk().follow(failures) }

// Within returns the exact probability that the chart signals within n outcomes when each fails
// with the given rate (0..1, else NaN).
func (b Bernoulli) Within(rate float64, n int) float64 { return b.walk().within(rate, n) }

// ARL is the mean number of outcomes to the first signal at the given failure rate (0..1, else
// NaN); +Inf when no signal can come, to be shown as "never".
func (b Bernoulli) ARL(rate float64) float64 { return b.walk().arl(rate) }

// String says what the chart is and how far its signal can be trusted.
func (b Bernoulli) String() string {
	return fmt.Sprintf("limit %.2f against failure rate %g where %g is adequate: within %d outcomes it signals falsely with probability %.3f, and at the inadequate rate with %.3f",
		b.H, b.Inadequate, b.Adequate, b.Drills, b.FalseSignal, b.TrueSignal)
}
