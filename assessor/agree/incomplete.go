package agree

import (
	"fmt"
	"math"
)

// Partial holds the intraclass correlations of a single rating when some cells are empty.
type Partial struct {
	Targets, Raters, Scores int
	// Variance components by restricted maximum likelihood, in squared units of the score.
	Target, Rater, Residual float64
	Absolute                float64 // ICC(2,1): Target/(Target+Rater+Residual)
	Consistency             float64 // ICC(3,1): Target/(Target+Residual)
}

// Incomplete computes the two single-rating intraclass correlations of [Intraclass] from
// scores[target][rater] with gaps (NaN), through restricted maximum likelihood components of the
// two-way random model. The gaps are taken to have nothing to do with the scores that are missing.
// Errors are those of [Generalize] for a p x r design; no interval is given.
func Incomplete(scores [][]float64) (*Partial, error) {
	if err := rectangle(scores, true); err != nil {
		return nil, err
	}
	var obs []Observation
	for t, row := range scores {
		for r, v := range row {
			if !math.IsNaN(v) {
				obs = append(obs, Observation{Person: fmt.Sprint(t + 1), Rater: fmt.Sprint(r + 1), Score: v})
			}
		}
	}
	s, err := Generalize(obs, ByRater)
	if err != nil {
		return nil, err
	}
	v := s.Restricted().Values
	return &Partial{Targets: s.Persons, Raters: s.Raters, Scores: s.Scores, Target: v[0], Rater: v[1], Residual: v[2],
		Absolute: v[0] / (v[0] + v[1] + v[2]), Consistency: v[0] / (v[0] + v[2])}, nil
}
