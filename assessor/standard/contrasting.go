package standard

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"zonule/assessor/logistic"
)

// ContrastingCut is a cut score between two judged groups.
type ContrastingCut struct {
	NotYet, Competent         int // trainees in each group
	NotYetMean, NotYetSpread  float64
	CompetentMean, CompSpread float64
	// Crossing is where the normal densities of the two groups cross, each counted alike;
	// WeightedCrossing weighs them by the size of their group. The flags say that the densities do
	// cross between the two means; when they do not, no number is given.
	Crossing, WeightedCrossing float64
	HasCrossing, HasWeighted   bool
	Midpoint                   float64 // of the two means
	Logistic, LogisticError    float64 // score at which the odds are even, its delta-method error
	LogisticInterval           Interval
	HasLogistic                bool
	LogisticNote               string // why there is none
	Intercept, Slope           float64
	Fewest                     int       // fewest trainees misjudged by any cut
	FewestAt                   []float64 // the scores that, as cut, misjudge so few (a trainee at the cut meets it)
}

// Contrasting finds the cut between trainees judged competent and not yet competent, one score and
// one judgement each, with the interval of the logistic cut at a confidence level.
//
// Models: two normal groups, or a logistic regression of the judgement on the score (Livingston
// and Zieky 1982, from memory). Errors: a *TooFew with fewer than 2 in a group; scores that are not
// finite; groups without spread; competent trainees whose mean is not above the others'.
func Contrasting(scores []float64, competent []bool, level float64) (ContrastingCut, error) {
	if err := checkLevel(level); err != nil {
		return ContrastingCut{}, err
	}
	if len(scores) != len(competent) {
		return ContrastingCut{}, fmt.Errorf("%d scores for %d judgements: give one of each for every trainee", len(scores), len(competent))
	}
	if err := checkScores(scores); err != nil {
		return ContrastingCut{}, err
	}
	var no, yes []float64
	for i, s := range scores {
		if competent[i] {
			yes = append(yes, s)
		} else {
			no = append(no, s)
		}
	}
	if len(no) < 2 {
		return ContrastingCut{}, &TooFew{2 - len(no), "trainees judged not yet competent"}
	}
	if len(yes) < 2 {
		return ContrastingCut{}, &TooFew{2 - len(yes), "trainees judged competent"}
	}
	c := ContrastingCut{NotYet: len(no), Competent: len(yes), NotYetMean: mean(no), NotYetSpread: spread(no), CompetentMean: mean(yes), CompSpread: spread(yes)}
	if !(c.CompetentMean > c.NotYetMean) {
		return ContrastingCut{}, errors.New("trainees judged competent did not score higher on average, so no score tells the groups apart: look at how they were judged")
	}
	if same(no) || same(yes) {
		return ContrastingCut{}, errors.New("all scores of one group are the same, so its spread is not known: gather more trainees")
	}
	c.Midpoint = (c.NotYetMean + c.CompetentMean) / 2
	share := float64(len(no)) / float64(len(scores))
	c.Crossing, c.HasCrossing = c.cross(0.5)
	c.WeightedCrossing, c.HasWeighted = c.cross(share)
	c.regress(scores, competent, level)
	c.Fewest, c.FewestAt = fewest(scores, competent)
	return c, nil
}

// cross solves share N(x; not yet) = (1-share) N(x; competent) between the means.
func (c *ContrastingCut) cross(share float64) (float64, bool) {
	difference := func(x float64) float64 {
		z0, z1 := (x-c.NotYetMean)/c.NotYetSpread, (x-c.CompetentMean)/c.CompSpread
		return math.Log(share/c.NotYetSpread) - z0*z0/2 - math.Log((1-share)/c.CompSpread) + z1*z1/2
	}
	low, high := c.NotYetMean, c.CompetentMean
	if !(difference(low) > 0 && difference(high) < 0) {
		return 0, false
	}
	for range 200 {
		middle := (low + high) / 2
		if difference(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2, true
}

// regress fills in the logistic cut, or says why there is none.
func (c *ContrastingCut) regress(scores []float64, competent []bool, level float64) {
	x := make([][]float64, len(scores))
	for i, s := range scores {
		x[i] = []float64{s}
	}
	m, err := logistic.Fit(x, competent)
	switch {
	case errors.Is(err, logistic.ErrSeparated):
		c.LogisticNote = "every competent trainee scored above all others, so any score between the groups will do and a regression has no cut"
		return
	case err != nil:
		c.LogisticNote = err.Error()
		return
	}
	a, b := m.Coefficients[0], m.Coefficients[1]
	c.Intercept, c.Slope = a, b
	if !(b > 0) {
		c.LogisticNote = "the chance of being judged competent does not rise with the score"
		return
	}
	// The cut is -a/b, with slopes -1/b and a/b^2 in the coefficients.
	da, db := -1/b, a/(b*b)
	v := da*da*m.Covariance[0][0] + 2*da*db*m.Covariance[0][1] + db*db*m.Covariance[1][1]
	c.HasLogistic, c.Logistic, c.LogisticError = true, -a/b, math.Sqrt(v)
	c.LogisticInterval = within(c.Logistic, c.LogisticError, 1e9, level)
}

// fewest tries every score as the cut.
func fewest(scores []float64, competent []bool) (int, []float64) {
	order := make([]int, len(scores))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return scores[order[a]] < scores[order[b]] })
	errs := 0 // with the cut at or under the lowest score all are called competent
	for _, ok := range competent {
		if !ok {
			errs++
		}
	}
	best, at := len(scores)+1, []float64(nil)
	for i := 0; i < len(order); {
		s := scores[order[i]]
		if errs < best {
			best, at = errs, nil
		}
		if errs == best {
			at = append(at, s)
		}
		for ; i < len(order) && scores[order[i]] == s; i++ { // they now fall under the cut
			if competent[order[i]] {
				errs++
			} else {
				errs--
			}
		}
	}
	return best, at
}
