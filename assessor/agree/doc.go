// Package agree says how far ratings can be relied on: whether raters agree, how much of a score
// is the trainee and how much is the rater, the drill or chance, and how many drills and raters a
// programme needs.
//
//   - [Intraclass]: the six intraclass correlations of Shrout and Fleiss 1979, with F tests and
//     intervals; [Incomplete] gives the two single-rater ones when cells are missing.
//   - [Cohen]: kappa of two raters, unweighted or weighted; [Fleiss]: kappa of several raters.
//   - [Alpha]: Krippendorff's alpha, for any number of raters, with gaps.
//   - [Generalize]: a generalizability study, variance components by mean squares (balanced data)
//     and by restricted maximum likelihood (any data), with intervals; [Variances.Decide] and
//     [Variances.Reach]: the decision study.
//
// A missing score is NaN. Too little data is a [NotYet], which says what is missing and carries no
// number; data that cannot answer the question (all scores alike, raters and persons that cannot
// be told apart) are an error that says why. No result holds an infinity or NaN.
//
// These are descriptions of a scoring, not of a trainee: they rank nobody and pass or fail nobody.
package agree

import (
	"fmt"
	"math"
)

// NotYet says that there is too little data to answer, and what is missing.
type NotYet struct {
	More int    // how many more are needed at least
	Of   string // of what, in the plural: "raters", "persons"
	Why  string // what they are needed for
}

// Error reads "not enough yet: 1 more rater; ...".
func (n *NotYet) Error() string {
	of := n.Of
	if n.More == 1 && of != "" {
		of = of[:len(of)-1]
	}
	return fmt.Sprintf("not enough yet: %d more %s; %s", n.More, of, n.Why)
}

// atLeast is nil when have reaches need, and otherwise the NotYet that says how many are missing.
func atLeast(need, have int, of, why string) error {
	if have >= need {
		return nil
	}
	return &NotYet{need - have, of, why}
}

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	return nil
}

// largest is the greatest magnitude of a score: squares and their sums stay far from overflow.
const largest = 1e100

// checkScore refuses a score that cannot be reckoned with; missing (NaN) passes when allowed.
func checkScore(v float64, missing bool, where string) error {
	switch {
	case math.IsNaN(v) && missing:
		return nil
	case math.IsNaN(v):
		return fmt.Errorf("%s has no score: this method needs every cell", where)
	case math.Abs(v) > largest:
		return fmt.Errorf("%s has score %g: give a number between -1e100 and 1e100", where, v)
	}
	return nil
}
