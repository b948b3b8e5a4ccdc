package calibrate

import (
	"fmt"
	"math"
)

// Rasch calibrates items scored 0 or 1 from responses[person][item], NaN where missing:
// P(1) = 1/(1+exp(-(ability - difficulty))), given ability independent between items (Rasch 1960).
// Estimates are conditional maximum likelihood (Andersen 1972), unique when they exist (Fischer 1981,
// Psychometrika 46:59-77). Standard errors are from the observed information, at the origin of the
// scale.
//
// Fewer than ten persons with a total that is neither lowest nor highest, or than two items, is a
// [NotYet]. It is an error when a response is not 0, 1 or NaN, when an item was met or missed by all of
// these persons, when the items split into a group never missed by who met another, or when groups of
// items share no person.
func Rasch(responses [][]float64) (*Scale, error) {
	t, err := scored(responses)
	if err != nil {
		return nil, err
	}
	for c, top := range t.top {
		if top > 1 {
			return nil, fmt.Errorf("%s has responses up to %d: the Rasch model takes 0 and 1; use the partial-credit model", t.name(c), top)
		}
		t.top[c] = 1
	}
	if err := t.ready(false); err != nil {
		return nil, err
	}
	if left := t.unreached(); left != nil {
		return nil, fmt.Errorf("the items are separated: nobody who met an item of one group missed one of the other (%s stand apart), so the distance between the groups has no bound; let more persons meet them", t.list(left))
	}
	return t.calibrate("Rasch", len(t.top)-1, func(c, _ int) []weight { return onAllButFirst(c, 1) }, nil)
}

// RatingScale calibrates items scored 0..m with one m for all, whose thresholds stand at the same
// distances: threshold k of item i is b(i) + t(k) (Andrich 1978, Psychometrika 43:561-73). m is the
// highest response given to any item. Arguments, estimates and errors are those of [PartialCredit],
// but a category need only be used on some item.
func RatingScale(responses [][]float64) (*Scale, error) {
	t, err := scored(responses)
	if err != nil {
		return nil, err
	}
	top := 0
	for _, v := range t.top {
		top = max(top, v)
	}
	top = max(top, 1)
	for c := range t.top {
		t.top[c] = top
	}
	if err := t.ready(false); err != nil {
		return nil, err
	}
	if err := t.categories(top); err != nil {
		return nil, err
	}
	items := len(t.top) - 1
	s, err := t.calibrate("rating scale", items+top-1, func(c, h int) []weight {
		row := onAllButFirst(c, float64(h))
		for k := 2; k <= h; k++ {
			row = append(row, weight{items + k - 2, 1})
		}
		return row
	}, nil)
	if err != nil {
		return nil, err
	}
	s.steps(top)
	return s, nil
}

// PartialCredit calibrates items scored 0..m(i) from responses[person][item], whole numbers or NaN
// where missing: categories k-1 and k of item i are equally likely at its threshold k, and the odds
// grow by a factor e for each logit above (Masters 1982, Psychometrika 47:149-74). m(i) is the highest
// response given to the item. Estimates are conditional maximum likelihood; errors as in [Rasch],
// and further when a category below the highest of an item was never used: merge it with its
// neighbour.
func PartialCredit(responses [][]float64) (*Scale, error) {
	t, err := scored(responses)
	if err != nil {
		return nil, err
	}
	for c, top := range t.top {
		t.top[c] = max(top, 1)
	}
	if err := t.ready(true); err != nil {
		return nil, err
	}
	first := make([]int, len(t.top))
	steps := 0
	for c, top := range t.top {
		first[c] = steps
		steps += top
	}
	row := func(c, h int) []weight {
		var row []weight
		for k := range h {
			row = append(row, onAllButFirst(first[c]+k, 1)...)
		}
		return row
	}
	return t.calibrate("partial credit", steps-1, row, t.adjacent())
}

// onAllButFirst is the weight on parameter n when parameter 0 is held at 0.
func onAllButFirst(n int, by float64) []weight {
	if n == 0 {
		return nil
	}
	return []weight{{n - 1, by}}
}

// adjacent starts partial-credit thresholds at the log ratio of the counts of adjacent categories,
// relative to the first.
func (t *table) adjacent() []float64 {
	counts, _ := t.counts()
	var out []float64
	for _, of := range counts {
		for h := 1; h < len(of); h++ {
			out = append(out, math.Log((float64(of[h-1])+.5)/(float64(of[h])+.5)))
		}
	}
	for k := len(out) - 1; k >= 0; k-- {
		out[k] -= out[0]
	}
	return out[1:]
}
