package simulate

import (
	"math"

	"zonule/assessor/agree"
)

// Ratings describe persons rated on items by raters, every effect normal with its variance; what is
// missing is missing by chance.
type Ratings struct {
	Persons, Items, Raters                                            int
	Person, Item, Rater, PersonItem, PersonRater, ItemRater, Residual float64 // variances
	Mean                                                              float64
	Missing                                                           float64 // share of scores
}

// Draw makes the scores of a crossed design.
func (r Ratings) Draw(seed uint64) []agree.Observation {
	chance := NewChance(seed, "ratings")
	draw := func(n int, variance float64) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = math.Sqrt(variance) * chance.Normal()
		}
		return out
	}
	p, i, k := draw(r.Persons, r.Person), draw(r.Items, r.Item), draw(r.Raters, r.Rater)
	pi, pk, ik := draw(r.Persons*r.Items, r.PersonItem), draw(r.Persons*r.Raters, r.PersonRater), draw(r.Items*r.Raters, r.ItemRater)
	var out []agree.Observation
	for a := range r.Persons {
		for b := range r.Items {
			for c := range r.Raters {
				score := r.Mean + p[a] + i[b] + k[c] + pi[a*r.Items+b] + pk[a*r.Raters+c] + ik[b*r.Raters+c] + math.Sqrt(r.Residual)*chance.Normal()
				if r.Missing > 0 && chance.Met(r.Missing) {
					continue
				}
				out = append(out, agree.Observation{Person: name("T", a), Item: name("S", b), Rater: name("R", c), Score: score})
			}
		}
	}
	return out
}

// Responses describe persons who answer items scored 0 to Top, on one scale of ability and
// difficulty in logits: the partial-credit model, or Rasch's with Top 1.
type Responses struct {
	Persons, Items, Top int
	Ability             float64 // standard deviation
	Difficulty          float64 // standard deviation of the items
	Step                float64 // distance of one threshold to the next
	Missing             float64 // share
}

// Draw makes the responses (NaN: missing), and the items' thresholds they come from.
func (r Responses) Draw(seed uint64) (responses, thresholds [][]float64) {
	chance := NewChance(seed, "responses")
	for range r.Items {
		centre := r.Difficulty * chance.Normal()
		row := make([]float64, r.Top)
		for k := range row {
			row[k] = centre + r.Step*(float64(k)-float64(r.Top-1)/2)
		}
		thresholds = append(thresholds, row)
	}
	for range r.Persons {
		ability := r.Ability * chance.Normal()
		row := make([]float64, r.Items)
		for i := range row {
			if row[i] = graded(ability, thresholds[i], chance.Uniform()); r.Missing > 0 && chance.Met(r.Missing) {
				row[i] = math.NaN()
			}
		}
		responses = append(responses, row)
	}
	return responses, thresholds
}

// graded is the score that u falls on.
func graded(ability float64, thresholds []float64, u float64) float64 {
	weights, total, eta := []float64{1}, 1.0, 0.0
	for _, t := range thresholds {
		eta += ability - t
		weights = append(weights, math.Exp(eta))
		total += math.Exp(eta)
	}
	for score, w := range weights {
		if u -= w / total; u < 0 {
			return float64(score)
		}
	}
	return float64(len(thresholds))
}

// Rated describes persons rated 0 to Top on items by raters of different severity: the many-facet
// model.
type Rated struct {
	Persons, Items, Raters, Top         int
	Ability, Difficulty, Severity, Step float64
}

// Rating is one score.
type Rating struct {
	Person, Item, Rater string
	Score               int
}

// Draw makes the ratings.
func (r Rated) Draw(seed uint64) []Rating {
	chance := NewChance(seed, "rated")
	items, raters := make([]float64, r.Items), make([]float64, r.Raters)
	for i := range items {
		items[i] = r.Difficulty * chance.Normal()
	}
	for i := range raters {
		raters[i] = r.Severity * chance.Normal()
	}
	thresholds := make([]float64, r.Top)
	var out []Rating
	for p := range r.Persons {
		ability := r.Ability * chance.Normal()
		for i := range items {
			for k := range raters {
				for s := range thresholds {
					thresholds[s] = items[i] + raters[k] + r.Step*(float64(s)-float64(r.Top-1)/2)
				}
				out = append(out, Rating{name("T", p), name("S", i), name("R", k), int(graded(ability, thresholds, chance.Uniform()))})
			}
		}
	}
	return out
}
