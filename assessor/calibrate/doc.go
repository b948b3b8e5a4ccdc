// Package calibrate puts drills of different difficulty, raters of different severity and trainees
// of different ability on one scale, in logits.
//
//   - [Rasch]: items scored 0 or 1.
//   - [RatingScale]: items scored 0..m with thresholds at the same distances for all items.
//   - [PartialCredit]: items scored 0..m, each with thresholds of its own.
//   - [Severity]: ratings 0..m of items by raters, the many-facet model.
//   - [RaschPopulation], [PartialCreditPopulation], [SeverityPopulation]: the same with normal
//     abilities, for how much the persons of a cohort differ.
//
// The first four are exponential families in which a person's total score is sufficient, so item, threshold
// and rater parameters are estimated by conditional maximum likelihood: ability drops out, and no
// distribution of ability is assumed. Responses may be missing; each person is conditioned on the
// items answered. The gaps are taken to have nothing to do with the response that is missing.
// Persons with the lowest or highest possible score carry no information on items and are left out
// there; they do get an estimate of ability (Warm's).
//
// Abilities are estimated with the item parameters taken as known, by maximum likelihood and by
// Warm's weighted likelihood, which is less biased and exists for every score. Their standard errors
// therefore leave out the error of the items.
//
// Too little data is a [NotYet]; responses that put a parameter beyond any bound (an item that
// everybody solved, a category never used, items that split into an easy and a hard group) or that
// cannot be compared (groups that share no person) are an error that names them. No result holds
// an infinity or NaN.
//
// An ability on this scale describes answers in drills. It ranks nobody and passes or fails nobody.
package calibrate

import (
	"fmt"
	"math"
)

// NotYet says that there is too little data to answer, and what is missing.
type NotYet struct {
	More int    // how many more are needed at least
	Of   string // of what, in the plural: "persons", "items"
	Why  string // what they are needed for
}

// Error reads "not enough yet: 1 more item; ...".
func (n *NotYet) Error() string {
	of := n.Of
	if n.More == 1 && of != "" {
		of = of[:len(of)-1]
	}
	return fmt.Sprintf("not enough yet: %d more %s; %s", n.More, of, n.Why)
}

func atLeast(need, have int, of, why string) error {
	if have >= need {
		return nil
	}
	return &NotYet{need - have, of, why}
}

// Estimate is a number with its standard error, in logits.
type Estimate struct{ Value, Error float64 }

func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
