package calibrate

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Item is one calibrated item.
type Item struct {
	// Thresholds[k] is the ability at which categories k and k+1 are equally likely, in logits; for
	// an item scored 0 or 1 there is one, its difficulty.
	Thresholds []Estimate
	Location   Estimate // mean of the thresholds
	Fit        *Fit     // nil when no person with an ability by maximum likelihood answered it
}

// Scale is a set of items on one scale, with the persons who met them. The origin is where the mean
// of all thresholds is 0, unless moved by [Scale.From].
type Scale struct {
	Model         string
	Items         []Item
	Steps         []Estimate // the thresholds common to all items, mean 0; rating scale only
	Persons       []Measure  // in the order of the responses
	LogLikelihood float64    // conditional on the totals
	Informative   int        // persons whose total is neither lowest nor highest: the items rest on these

	table      *table
	thresholds []float64     // of all items, one after another
	covariance *mat.SymDense // of these, at this origin
}

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
	if steps > mostSteps {
		return nil, fmt.Errorf("%d thresholds are too many to calibrate at once: at most %d", steps, mostSteps)
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

// ready checks that the informative persons say something about each column: enough persons, no
// column with one response only, (when every) no empty category, and no islands.
func (t *table) ready(every bool) error {
	counts, persons := t.counts()
	if err := atLeast(fewestPersons, persons, "persons", "items are compared by persons whose total is neither the lowest nor the highest possible"); err != nil {
		return err
	}
	for c, of := range counts {
		answered, kinds := 0, 0
		for _, n := range of {
			answered += n
			if n > 0 {
				kinds++
			}
		}
		switch {
		case answered == 0:
			return fmt.Errorf("%s was answered by no person whose total is neither lowest nor highest: leave it out, or wait for more persons", t.name(c))
		case of[len(of)-1] == answered:
			return fmt.Errorf("%s: every person who counts has its highest score, so its difficulty has no lower bound; leave it out, or wait for more persons", t.name(c))
		case of[0] == answered:
			return fmt.Errorf("%s: every person who counts has score 0, so its difficulty has no upper bound; leave it out, or wait for more persons", t.name(c))
		}
		if every && kinds < len(of) {
			for h, n := range of {
				if n == 0 {
					return fmt.Errorf("%s: no person who counts has score %d, so its thresholds have no bound; merge that category with its neighbour", t.name(c), h)
				}
			}
		}
	}
	if groups := t.islands(len(t.top), func(c int) int { return c }); len(groups) > 1 {
		return fmt.Errorf("the items fall into %d groups that share no person, so their difficulties cannot be compared: the group of %s never meets the group of %s", len(groups), t.name(groups[0][0]), t.name(groups[1][0]))
	}
	return nil
}

// categories checks that each category 0..top was used by an informative person on some column.
func (t *table) categories(top int) error {
	counts, _ := t.counts()
	for h := range top + 1 {
		used := 0
		for _, of := range counts {
			used += of[h]
		}
		if used == 0 {
			return fmt.Errorf("no person who counts was given score %d on anything, so the thresholds have no bound; merge that category with its neighbour", h)
		}
	}
	return nil
}

func (t *table) list(columns []int) string {
	var names []string
	for k, c := range columns {
		if k == 5 {
			names = append(names, "and others")
			break
		}
		names = append(names, t.name(c))
	}
	return strings.Join(names, ", ")
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

// calibrate estimates the free parameters and makes the scale: thresholds are differences of
// adjacent category parameters.
func (t *table) calibrate(model string, free int, row func(column, h int) []weight, start []float64) (*Scale, error) {
	c := newConditional(t, free, row)
	if start == nil {
		start = make([]float64, free)
	}
	found, at, covariance, err := c.maximise(start)
	if err != nil {
		return nil, t.explain(err)
	}
	_, persons := t.counts()
	s := &Scale{Model: model, LogLikelihood: at.value, Informative: persons, table: t}
	beta := c.beta(found)
	half := mat.NewDense(c.betas, free, nil) // thresholds by free parameters
	for i, top := range t.top {
		for h := range top {
			b := c.first[i] + h
			v := beta[b]
			for _, w := range c.rows[b] {
				half.Set(b, w.free, half.At(b, w.free)+w.by)
			}
			if h > 0 {
				v -= beta[b-1]
				for _, w := range c.rows[b-1] {
					half.Set(b, w.free, half.At(b, w.free)-w.by)
				}
			}
			s.thresholds = append(s.thresholds, v)
		}
	}
	s.covariance = sandwich(half, covariance)
	even := make([]float64, c.betas)
	for k := range even {
		even[k] = 1 / float64(c.betas)
	}
	return s.from(even)
}

// explain adds to a failure of the search what the responses look like.
func (t *table) explain(err error) error {
	if errors.Is(err, errFar) {
		return fmt.Errorf("%w (persons with high totals and low totals use categories or items that do not overlap); wait for more persons, leave out what nearly all answer alike, or merge categories", err)
	}
	return err
}

// sandwich is A V A'.
func sandwich(a *mat.Dense, v *mat.SymDense) *mat.SymDense {
	var half, whole mat.Dense
	half.Mul(a, v)
	whole.Mul(&half, a.T())
	n, _ := a.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, (whole.At(i, j)+whole.At(j, i))/2)
		}
	}
	return out
}

// From moves the origin: weights[item][threshold], which sum to 1, give the weighted mean of the
// thresholds that becomes 0. Weights on the items that two calibrations share put both on one
// scale. Distances, and the differences between persons and thresholds, stay as they are; standard
// errors of thresholds become those relative to the new origin. It is an error when the weights do
// not fit the items or do not sum to 1.
func (s *Scale) From(weights [][]float64) (*Scale, error) {
	if len(weights) != len(s.Items) {
		return nil, fmt.Errorf("weights for %d items do not fit a scale of %d", len(weights), len(s.Items))
	}
	var flat []float64
	sum := 0.0
	for i, row := range weights {
		if len(row) != len(s.Items[i].Thresholds) {
			return nil, fmt.Errorf("item %d has %d thresholds, not %d", i+1, len(s.Items[i].Thresholds), len(row))
		}
		for _, v := range row {
			sum += v
		}
		flat = append(flat, row...)
	}
	if !(math.Abs(sum-1) < 1e-9) {
		return nil, fmt.Errorf("the weights of the origin sum to %g: let them sum to 1", sum)
	}
	out := *s
	return out.from(flat)
}

// from fills in the scale with its origin at the weighted mean of the thresholds.
func (s *Scale) from(weights []float64) (*Scale, error) {
	n := len(weights)
	move := mat.NewDense(n, n, nil)
	shift := 0.0
	for a := range n {
		shift += weights[a] * s.thresholds[a]
		for b := range n {
			v := -weights[b]
			if a == b {
				v++
			}
			move.Set(a, b, v)
		}
	}
	moved := make([]float64, n)
	for k, v := range s.thresholds {
		moved[k] = v - shift
	}
	s.thresholds, s.covariance = moved, sandwich(move, s.covariance)
	s.Items = nil
	at := 0
	for _, top := range s.table.top {
		item := Item{Thresholds: make([]Estimate, top)}
		variance := 0.0
		for h := range top {
			item.Thresholds[h] = Estimate{moved[at+h], math.Sqrt(math.Max(0, s.covariance.At(at+h, at+h)))}
			item.Location.Value += moved[at+h] / float64(top)
			for k := range top {
				variance += s.covariance.At(at+h, at+k) / float64(top*top)
			}
		}
		item.Location.Error = math.Sqrt(math.Max(0, variance))
		s.Items = append(s.Items, item)
		at += top
	}
	return s, s.persons()
}

// persons measures the persons on the scale and the fit of items.
func (s *Scale) persons() error {
	beta := cumulated(s.table.top, s.thresholds)
	var err error
	if s.Persons, err = s.table.measures(beta); err != nil {
		return err
	}
	fits := newFits(len(s.Items), len(s.Persons))
	fits.fill(s.table, beta, s.Persons, func(c int) int { return c })
	for i := range s.Items {
		s.Items[i].Fit = fits.of(i)
	}
	for p := range s.Persons {
		s.Persons[p].Fit = fits.ofPerson(p)
	}
	return nil
}

// steps fills in the common thresholds of a rating scale: those of item 1 about their mean, which
// are those of every item.
func (s *Scale) steps(top int) {
	a := mat.NewDense(top, len(s.thresholds), nil)
	mean := 0.0
	for k := range top {
		mean += s.thresholds[k] / float64(top)
		for j := range top {
			a.Set(k, j, -1/float64(top))
		}
		a.Set(k, k, 1-1/float64(top))
	}
	v := sandwich(a, s.covariance)
	for k := range top {
		s.Steps = append(s.Steps, Estimate{s.thresholds[k] - mean, math.Sqrt(math.Max(0, v.At(k, k)))})
	}
}

// cumulated turns thresholds into category parameters, by column.
func cumulated(top []int, thresholds []float64) [][]float64 {
	out := make([][]float64, len(top))
	at := 0
	for c, n := range top {
		out[c] = make([]float64, n)
		sum := 0.0
		for h := range n {
			sum += thresholds[at+h]
			out[c][h] = sum
		}
		at += n
	}
	return out
}
