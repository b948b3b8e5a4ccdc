package calibrate

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Rating is one rater's score of one person on one item.
type Rating struct {
	Person, Item, Rater string
	Score               int
}

// Level is one item or one rater on the scale.
type Level struct {
	Name    string
	Measure Estimate // difficulty of an item, severity of a rater; each set has mean 0
	Ratings int
	Fit     *Fit // nil when no person with an ability by maximum likelihood was rated so
}

// Facets is a many-facet calibration. Items, raters and steps each have mean 0, and so the origin
// is where an item of mean difficulty, seen by a rater of mean severity, is at the middle of its
// thresholds.
type Facets struct {
	Items, Raters []Level    // in the order of their first rating
	Steps         []Estimate // threshold k less the mean threshold; one, 0, when scores are 0 and 1
	People        []string   // in the order of their first rating
	Persons       []Measure  // one for each of People: ability with items and raters taken into account
	LogLikelihood float64    // conditional on the totals
	Informative   int        // persons whose total is neither lowest nor highest

	items, raters *mat.SymDense // covariances
}

// Severity calibrates items and raters together: the log odds of category k over k-1 are ability -
// item difficulty - rater severity - step k (Linacre 1989, Many-Facet Rasch Measurement), with one
// set of steps for all, categories 0..the highest score given. Ratings of a person are taken to be
// independent given ability, items and raters: two raters who copy each other look more certain than
// they are. Estimates are conditional maximum likelihood (Fischer and Parzer 1991, Psychometrika
// 56:637-51); each person may be rated by some raters on some items.
//
// Fewer than ten persons with a total that is neither lowest nor highest, or than two items or
// raters, is a [NotYet]. It is an error when a score is below 0 or stands twice, when an item or rater
// has only lowest or only highest scores, when a category was never used, or when raters (or items)
// fall into groups that share no person.
func Severity(ratings []Rating) (*Facets, error) {
	f, t, err := facets(ratings)
	if err != nil {
		return nil, err
	}
	items, raters, top := len(f.Items), len(f.Raters), t.top[0]
	itemOf := func(c int) int { return c / raters }
	raterOf := func(c int) int { return c % raters }
	if err := f.ready(t, itemOf, raterOf); err != nil {
		return nil, err
	}
	free := items - 1 + raters - 1 + top - 1
	row := func(c, h int) []weight {
		out := onAllButFirst(itemOf(c), float64(h))
		for _, w := range onAllButFirst(raterOf(c), float64(h)) {
			out = append(out, weight{items - 1 + w.free, w.by})
		}
		for k := 2; k <= h; k++ {
			out = append(out, weight{items + raters - 2 + k - 2, 1})
		}
		return out
	}
	c := newConditional(t, free, row)
	found, at, covariance, err := c.maximise(make([]float64, free))
	if err != nil {
		return nil, t.explain(err)
	}
	f.LogLikelihood = at.value
	_, f.Informative = t.counts()
	itemMeasures, iv := centred(found[:items-1], covariance, 0)
	raterMeasures, rv := centred(found[items-1:items+raters-2], covariance, items-1)
	f.Steps, _ = centred(found[items+raters-2:], covariance, items+raters-2)
	f.items, f.raters = iv, rv
	var thresholds []float64
	for col := range t.top {
		for _, step := range f.Steps {
			thresholds = append(thresholds, itemMeasures[itemOf(col)].Value+raterMeasures[raterOf(col)].Value+step.Value)
		}
	}
	for i := range f.Items {
		f.Items[i].Measure = itemMeasures[i]
	}
	for r := range f.Raters {
		f.Raters[r].Measure = raterMeasures[r]
	}
	if err := f.persons(t, cumulated(t.top, thresholds), itemOf, raterOf); err != nil {
		return nil, err
	}
	return f, nil
}

// centred adds the parameter held at 0 to its set, moves the set to mean 0, and takes the
// covariance along.
func centred(found []float64, covariance *mat.SymDense, from int) ([]Estimate, *mat.SymDense) {
	n := len(found) + 1
	mean := 0.0
	for _, v := range found {
		mean += v / float64(n)
	}
	out := make([]Estimate, n)
	move := mat.NewDense(n, covariance.SymmetricDim(), nil)
	for k := range n {
		out[k].Value = -mean
		if k > 0 {
			out[k].Value += found[k-1]
			move.Set(k, from+k-1, 1)
		}
		for j := range found {
			move.Set(k, from+j, move.At(k, from+j)-1/float64(n))
		}
	}
	v := sandwich(move, covariance)
	for k := range n {
		out[k].Error = math.Sqrt(math.Max(0, v.At(k, k)))
	}
	return out, v
}

// facets sorts ratings into a table with one column for each item and rater.
func facets(ratings []Rating) (*Facets, *table, error) {
	f := &Facets{}
	if len(ratings) > mostResponses {
		return nil, nil, fmt.Errorf("%d ratings are too many to calibrate at once: at most %d", len(ratings), mostResponses)
	}
	persons, items, raters := map[string]int{}, map[string]int{}, map[string]int{}
	top := 1
	for _, r := range ratings {
		if r.Score < 0 || r.Score > mostTop {
			return nil, nil, fmt.Errorf("person %q, item %q, rater %q has score %d: give 0 to %d", r.Person, r.Item, r.Rater, r.Score, mostTop)
		}
		top = max(top, r.Score)
		if _, seen := persons[r.Person]; !seen {
			persons[r.Person] = len(persons)
			f.People = append(f.People, r.Person)
		}
		f.Items = counted(f.Items, items, r.Item)
		f.Raters = counted(f.Raters, raters, r.Rater)
	}
	for _, e := range []error{
		atLeast(fewestPersons, len(persons), "persons", "a calibration rests on persons with different totals"),
		atLeast(2, len(items), "items", "an item's difficulty is relative to another's"),
		atLeast(2, len(raters), "raters", "a rater's severity is relative to another's; with one rater use the rating-scale model"),
	} {
		if e != nil {
			return nil, nil, e
		}
	}
	columns := len(items) * len(raters)
	if columns > mostColumns || columns*top > mostSteps || columns*len(persons) > mostResponses {
		return nil, nil, fmt.Errorf("%d items by %d raters with scores to %d are too many to calibrate at once: at most %d combinations and %d thresholds", len(items), len(raters), top, mostColumns, mostSteps)
	}
	t := &table{top: make([]int, columns), x: make([][]int, len(persons))}
	t.name = func(c int) string {
		return fmt.Sprintf("item %q seen by rater %q", f.Items[c/len(raters)].Name, f.Raters[c%len(raters)].Name)
	}
	for c := range t.top {
		t.top[c] = top
	}
	for p := range t.x {
		t.x[p] = make([]int, columns)
		for c := range t.x[p] {
			t.x[p][c] = absent
		}
	}
	for _, r := range ratings {
		cell := &t.x[persons[r.Person]][items[r.Item]*len(raters)+raters[r.Rater]]
		if *cell != absent {
			return nil, nil, fmt.Errorf("person %q, item %q, rater %q is scored twice: keep one", r.Person, r.Item, r.Rater)
		}
		*cell = r.Score
	}
	return f, t, nil
}

func counted(levels []Level, at map[string]int, name string) []Level {
	k, seen := at[name]
	if !seen {
		k = len(levels)
		at[name] = k
		levels = append(levels, Level{Name: name})
	}
	levels[k].Ratings++
	return levels
}

// ready checks that the informative persons say something about each item and rater, and connect
// them.
func (f *Facets) ready(t *table, itemOf, raterOf func(int) int) error {
	counts, persons := t.counts()
	if err := atLeast(fewestPersons, persons, "persons", "items and raters are compared by persons whose total is neither the lowest nor the highest possible"); err != nil {
		return err
	}
	top := t.top[0]
	for _, facet := range []struct {
		kind   string
		levels []Level
		of     func(int) int
	}{{"item", f.Items, itemOf}, {"rater", f.Raters, raterOf}} {
		given := make([][]int, len(facet.levels))
		for c, of := range counts {
			k := facet.of(c)
			if given[k] == nil {
				given[k] = make([]int, top+1)
			}
			for h, n := range of {
				given[k][h] += n
			}
		}
		for k, of := range given {
			total := 0
			for _, n := range of {
				total += n
			}
			switch {
			case total == 0:
				return fmt.Errorf("%s %q has no rating of a person who counts (total neither lowest nor highest): leave it out, or wait for more persons", facet.kind, facet.levels[k].Name)
			case of[0] == total:
				return fmt.Errorf("%s %q has score 0 only, so its measure has no upper bound; leave it out, or wait for more persons", facet.kind, facet.levels[k].Name)
			case of[top] == total:
				return fmt.Errorf("%s %q has the highest score only, so its measure has no lower bound; leave it out, or wait for more persons", facet.kind, facet.levels[k].Name)
			}
		}
		if groups := t.islands(len(facet.levels), facet.of); len(groups) > 1 {
			return fmt.Errorf("the %ss fall into groups that share no person, so they cannot be compared: %s, and %s; let some persons meet both", facet.kind, named(facet.levels, groups[0]), named(facet.levels, groups[1]))
		}
	}
	return t.categories(top)
}

func named(levels []Level, group []int) string {
	var names []string
	for n, k := range group {
		if n == 5 {
			names = append(names, "...")
			break
		}
		names = append(names, levels[k].Name)
	}
	return strings.Join(names, ", ")
}

// persons measures the persons and the fit of items, raters and persons.
func (f *Facets) persons(t *table, beta [][]float64, itemOf, raterOf func(int) int) error {
	var err error
	if f.Persons, err = t.measures(beta); err != nil {
		return err
	}
	n := len(f.Items)
	all := newFits(n+len(f.Raters), len(f.Persons))
	all.fill(t, beta, f.Persons, itemOf, func(c int) int { return n + raterOf(c) })
	for i := range f.Items {
		f.Items[i].Fit = all.of(i)
	}
	for r := range f.Raters {
		f.Raters[r].Fit = all.of(n + r)
	}
	for p := range f.Persons {
		f.Persons[p].Fit = all.ofPerson(p)
	}
	return nil
}

// ItemDifference is the difficulty of item a less that of item b (by index in Items), with its
// standard error. It is an error when an index is out of range.
func (f *Facets) ItemDifference(a, b int) (Estimate, error) {
	return difference(f.Items, f.items, a, b)
}

// RaterDifference is the severity of rater a less that of rater b (by index in Raters), with its
// standard error. It is an error when an index is out of range.
func (f *Facets) RaterDifference(a, b int) (Estimate, error) {
	return difference(f.Raters, f.raters, a, b)
}

func difference(levels []Level, v *mat.SymDense, a, b int) (Estimate, error) {
	if a < 0 || b < 0 || a >= len(levels) || b >= len(levels) {
		return Estimate{}, fmt.Errorf("there is no pair %d and %d among %d", a, b, len(levels))
	}
	return Estimate{levels[a].Measure.Value - levels[b].Measure.Value,
		math.Sqrt(math.Max(0, v.At(a, a)+v.At(b, b)-2*v.At(a, b)))}, nil
}
