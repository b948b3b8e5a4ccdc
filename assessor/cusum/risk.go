package cusum

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// RiskAdjusted is the CUSUM of Steiner, Cook, Farewell and Treasure 2000 (Biostatistics 1:441-52)
// for outcomes of cases with different predicted risks. With p the predicted risk of failure of a
// case, a case's weight is the log likelihood ratio of odds multiplied by Alternative against odds
// multiplied by Null:
//
//	ln[ (1-p+Null p) Alternative / ((1-p+Alternative p) Null) ]  after a failure,
//	ln[ (1-p+Null p) / (1-p+Alternative p) ]                     after a success,
//
// S(t) = max(0, S(t-1) + weight), and a signal when S reaches H. Alternative above Null looks for
// deterioration, below it for improvement. It is as good as the predicted risks are.
type RiskAdjusted struct {
	Null        float64 // odds multiplier taken as adequate, above 0; usually 1
	Alternative float64 // odds multiplier to be found, above 0, not Null; usually 2
	H           float64 // limit, above 0
}

// Check says what is wrong with the chart.
func (c RiskAdjusted) Check() error {
	switch {
	case !(c.Null > 0) || math.IsInf(c.Null, 0), !(c.Alternative > 0) || math.IsInf(c.Alternative, 0), c.Null == c.Alternative:
		return fmt.Errorf("odds multipliers %g and %g make no chart: give two different numbers above 0, usually 1 and 2", c.Null, c.Alternative)
	case !(c.H > 0) || math.IsInf(c.H, 0):
		return fmt.Errorf("limit %g makes no chart: give a number above 0", c.H)
	}
	return nil
}

// Weights returns what a failure and a success of a case with predicted risk p (0..1) add.
func (c RiskAdjusted) Weights(p float64) (failure, success float64) {
	success = math.Log1p(p*(c.Null-1)) - math.Log1p(p*(c.Alternative-1))
	return success + math.Log(c.Alternative/c.Null), success
}

// Trace is a risk-adjusted chart drawn over a series of cases.
type Trace struct {
	Weights, Scores []float64
	Signal          int       // case, counted from 1, that signalled first; 0: none yet
	Excess          []float64 // expected less observed failures so far (the variable life-adjusted display)
}

// Follow draws the chart over cases in order: predicted risks, 0..1, and outcomes, true for a
// failure. It is an error when the two differ in length or a risk is outside 0..1.
func (c RiskAdjusted) Follow(risks []float64, failures []bool) (Trace, error) {
	if err := c.Check(); err != nil {
		return Trace{}, err
	}
	if len(risks) != len(failures) {
		return Trace{}, fmt.Errorf("%d predicted risks for %d outcomes: give one for each case", len(risks), len(failures))
	}
	var t Trace
	score, excess := 0.0, 0.0
	for i, p := range risks {
		if !(p >= 0 && p <= 1) {
			return Trace{}, fmt.Errorf("case %d has predicted risk %g: give a probability, 0 to 1", i+1, p)
		}
		failure, success := c.Weights(p)
		w := success
		excess += p
		if failures[i] {
			w, excess = failure, excess-1
		}
		score = math.Max(0, score+w)
		t.Weights, t.Scores, t.Excess = append(t.Weights, w), append(t.Scores, score), append(t.Excess, excess)
		if t.Signal == 0 && score >= c.H-rounding {
			t.Signal = i + 1
		}
	}
	return t, nil
}

// Mix is how often each predicted risk comes: the cases a surgeon is given, in no particular
// order.
type Mix []Share

// Share is one predicted risk, 0 < Risk < 1, and its share of the cases, above 0.
type Share struct{ Risk, Share float64 }

// mostShares bounds the number of different risks that run lengths are computed for.
const mostShares = 64

// MixOf is the mix of the cases themselves. More than 64 different risks are put into 64 groups of
// neighbours of equal size, each with its mean risk. It is an error without cases and when a risk
// is not above 0 and below 1.
func MixOf(risks []float64) (Mix, error) {
	if len(risks) == 0 {
		return nil, errors.New("a case mix needs at least one case")
	}
	sorted := append([]float64(nil), risks...)
	sort.Float64s(sorted)
	for _, p := range sorted {
		if !(p > 0 && p < 1) {
			return nil, fmt.Errorf("predicted risk %g is not above 0 and below 1", p)
		}
	}
	n := float64(len(sorted))
	var m Mix
	for i, p := range sorted {
		if i > 0 && p == sorted[i-1] {
			m[len(m)-1].Share += 1 / n
		} else {
			m = append(m, Share{p, 1 / n})
		}
	}
	if len(m) <= mostShares {
		return m, nil
	}
	m = m[:0]
	for g := range mostShares {
		group := sorted[g*len(sorted)/mostShares : (g+1)*len(sorted)/mostShares]
		sum := 0.0
		for _, p := range group {
			sum += p
		}
		m = append(m, Share{sum / float64(len(group)), float64(len(group)) / n})
	}
	return m, nil
}

func (m Mix) check() error {
	total := 0.0
	for _, s := range m {
		if !(s.Risk > 0 && s.Risk < 1) || !(s.Share > 0) || math.IsInf(s.Share, 0) {
			return fmt.Errorf("a case mix has risks above 0 and below 1 with shares above 0, not %g with %g", s.Risk, s.Share)
		}
		total += s.Share
	}
	switch {
	case len(m) == 0:
		return errors.New("a case mix needs at least one risk")
	case len(m) > mostShares:
		return fmt.Errorf("a case mix of %d risks is too fine: give at most %d, or make it with MixOf", len(m), mostShares)
	case math.Abs(total-1) > 1e-6:
		return fmt.Errorf("the shares of the case mix add up to %g, not to 1", total)
	}
	return nil
}
