// Package standard turns judgements into a cut score: the score at which a trainee just meets the
// standard, with how uncertain it is.
//
// [Angoff] asks judges how a trainee who just meets the standard would do on each item;
// [Borderline] reads the score off a regression on examiners' global grades; [Contrasting] finds
// the score that best tells two judged groups apart; [Hofstee] is a compromise between the scores
// and failure rates judges would accept.
//
// A cut score is a decision of people. Each method gives a number with its error; a [Record] keeps
// who decided, by what method, from which data and when. A cut score passes and fails nobody by
// itself, and no method says that the standard is right, only where the judges put it.
//
// Every function is pure: the same data give the same cut, resampling included (its seed is an
// argument). Results agree with R; testdata/statistics/README.md has the sources.
package standard

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a range for a cut score at a stated confidence level.
type Interval struct{ Low, High float64 }

// TooFew says that there is too little data for a cut score, and how much more it takes.
type TooFew struct {
	More int    // at least 1
	Of   string // "judges", "trainees" ...
}

// Error reads "not enough yet: 2 more judges".
func (e *TooFew) Error() string { return fmt.Sprintf("not enough yet: %d more %s", e.More, e.Of) }

// largest is the size from which a score is taken for a slip; it keeps squares and sums finite.
const largest = 1e9

func checkScores(scores []float64) error {
	for i, s := range scores {
		if !(math.Abs(s) <= largest) {
			return fmt.Errorf("score %d is %g: give finite numbers up to %g", i+1, s, largest)
		}
	}
	return nil
}

func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	return nil
}

// within is the t interval of an estimate.
func within(estimate, se, df, level float64) Interval {
	half := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile((1+level)/2) * se
	return Interval{estimate - half, estimate + half}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// spread is the standard deviation with n-1.
func spread(v []float64) float64 {
	m, sum := mean(v), 0.0
	for _, x := range v {
		sum += (x - m) * (x - m)
	}
	return math.Sqrt(sum / float64(len(v)-1))
}

func median(v []float64) float64 {
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

// below is the share of scores strictly below a cut.
func below(scores []float64, cut float64) float64 {
	n := 0
	for _, s := range scores {
		if s < cut {
			n++
		}
	}
	return float64(n) / float64(len(scores))
}
