package agree

import (
	"fmt"
	"math"
	"slices"
)

// Design says how persons, items (drills, stations, tasks) and raters are crossed.
type Design int

const (
	ByItem  Design = iota // p x i: every person is scored on items
	ByRater               // p x r: every person is scored by raters
	Crossed               // p x i x r: every rater scores every person on every item
	Nested                // p x (r:i): each item has raters of its own
)

// String is the design in the notation of generalizability theory.
func (d Design) String() string {
	switch d {
	case ByItem:
		return "p x i"
	case ByRater:
		return "p x r"
	case Crossed:
		return "p x i x r"
	case Nested:
		return "p x (r:i)"
	}
	return fmt.Sprintf("design %d", int(d))
}

// facets is the set of facets that an effect carries.
type facets int

const (
	person facets = 1 << iota
	item
	rater
)

// effect is one source of variation; the last of a design is the residual, in which the highest
// interaction and error cannot be told apart.
type effect struct {
	name string
	of   facets
}

func (d Design) effects() []effect {
	switch d {
	case ByItem:
		return []effect{{"p", person}, {"i", item}, {"pi,e", person | item}}
	case ByRater:
		return []effect{{"p", person}, {"r", rater}, {"pr,e", person | rater}}
	case Crossed:
		return []effect{{"p", person}, {"i", item}, {"r", rater}, {"pi", person | item}, {"pr", person | rater},
			{"ir", item | rater}, {"pir,e", person | item | rater}}
	case Nested:
		return []effect{{"p", person}, {"i", item}, {"r:i", item | rater}, {"pi", person | item}, {"pr:i,e", person | item | rater}}
	}
	return nil
}

// has says whether the design has the facet.
func (d Design) has(f facets) bool {
	return slices.ContainsFunc(d.effects(), func(e effect) bool { return e.of&f != 0 })
}

// Observation is one score: whose, on which item, by which rater. Item is not read in a p x r
// design, nor Rater in p x i. In p x (r:i) a rater's name counts within the item only.
type Observation struct {
	Person, Item, Rater string
	Score               float64
}

// Bounds of a study, so that it takes bounded time and memory.
const (
	mostCells  = 2_000      // items times raters
	mostScores = 20_000_000 // scores in all
)

// layout is a study's scores by person: person p's scores are y[start[p]:start[p+1]], in cells
// (item and rater) cell[...], ascending. Scores are centred and brought to size 1.
type layout struct {
	design                 Design
	persons, items, raters int // levels; 1 where the design has no such facet. raters: most of one item when nested
	cellItem, cellRater    []int
	start, cell            []int
	y                      []float64
	shift, scale           float64 // score = shift + scale*y
}

// lay checks the observations and sorts them.
func lay(observations []Observation, d Design) (*layout, error) {
	if d.effects() == nil {
		return nil, fmt.Errorf("design %d is unknown: give ByItem, ByRater, Crossed or Nested", int(d))
	}
	if len(observations) > mostScores {
		return nil, fmt.Errorf("%d scores are too many for a study: at most %d", len(observations), mostScores)
	}
	l := &layout{design: d}
	type place struct{ item, rater int }
	persons, items, raters := map[string]int{}, map[string]int{}, map[string]int{}
	cells := map[place]int{}
	number := func(of map[string]int, name string) int {
		if _, seen := of[name]; !seen {
			of[name] = len(of)
		}
		return of[name]
	}
	byPerson := [][]int{}
	cellOf := make([]int, len(observations))
	for k, o := range observations {
		if err := checkScore(o.Score, false, "the score of "+o.where(d)); err != nil {
			return nil, err
		}
		var at place
		if d.has(item) {
			at.item = number(items, o.Item)
		}
		switch {
		case d == Nested:
			at.rater = number(raters, o.Item+"\x00"+o.Rater)
		case d.has(rater):
			at.rater = number(raters, o.Rater)
		}
		if _, seen := cells[at]; !seen {
			cells[at] = len(cells)
			l.cellItem, l.cellRater = append(l.cellItem, at.item), append(l.cellRater, at.rater)
		}
		cellOf[k] = cells[at]
		p := number(persons, o.Person)
		if p == len(byPerson) {
			byPerson = append(byPerson, nil)
		}
		byPerson[p] = append(byPerson[p], k)
	}
	l.persons, l.items, l.raters = len(persons), max(1, len(items)), max(1, len(raters))
	if d == Nested {
		l.raters = mostRatersOf(l.cellItem)
	}
	if err := l.enough(len(items), len(raters)); err != nil {
		return nil, err
	}
	l.start = append(l.start, 0)
	for _, own := range byPerson {
		slices.SortFunc(own, func(a, b int) int { return cellOf[a] - cellOf[b] })
		for n, k := range own {
			if n > 0 && cellOf[k] == cellOf[own[n-1]] {
				return nil, fmt.Errorf("%s has two scores: keep one, or their mean", observations[k].where(d))
			}
			l.cell, l.y = append(l.cell, cellOf[k]), append(l.y, observations[k].Score)
		}
		l.start = append(l.start, len(l.y))
	}
	return l, l.centre()
}

func mostRatersOf(cellItem []int) int {
	count := map[int]int{}
	most := 0
	for _, i := range cellItem {
		count[i]++
		most = max(most, count[i])
	}
	return most
}

func (o Observation) where(d Design) string {
	s := fmt.Sprintf("person %q", o.Person)
	if d.has(item) {
		s += fmt.Sprintf(", item %q", o.Item)
	}
	if d.has(rater) {
		s += fmt.Sprintf(", rater %q", o.Rater)
	}
	return s
}

// enough says what is missing for the design.
func (l *layout) enough(items, raters int) error {
	if err := atLeast(2, l.persons, "persons", "a study compares persons"); err != nil {
		return err
	}
	if l.design.has(item) {
		if err := atLeast(2, items, "items", "the variation between items shows in two or more"); err != nil {
			return err
		}
	}
	if l.design.has(rater) {
		if err := atLeast(2, raters, "raters", "the variation between raters shows in two or more; without raters the design is p x i"); err != nil {
			return err
		}
	}
	if l.design == Nested && l.raters < 2 {
		return &NotYet{1, "raters", "each item has one rater only, so raters cannot be told from items; the design is p x i"}
	}
	if len(l.cellItem) > mostCells {
		return fmt.Errorf("%d combinations of item and rater are too many for a study: at most %d", len(l.cellItem), mostCells)
	}
	return nil
}

// centre takes out the mean and the standard deviation, so that nothing depends on the scale.
func (l *layout) centre() error {
	n := float64(len(l.y))
	size := 0.0
	for _, v := range l.y {
		size = math.Max(size, math.Abs(v))
		l.shift += v / n
	}
	sum := 0.0
	for i, v := range l.y {
		l.y[i] = v - l.shift
		if size > 0 {
			sum += l.y[i] / size * l.y[i] / size
		}
	}
	l.scale = size * math.Sqrt(sum/n)
	if !(l.scale > 1e-12*size) {
		return fmt.Errorf("every score is the same: scores that do not differ have no sources of variation")
	}
	for i := range l.y {
		l.y[i] /= l.scale
	}
	return nil
}

// label numbers the cells by the facets of an effect other than the person: cells with the same
// label share the effect (within a person if the effect carries the person).
func (l *layout) label(of facets) (labels []int, n int) {
	labels = make([]int, len(l.cellItem))
	switch of &^ person {
	case 0:
		return labels, 1
	case item:
		return l.cellItem, l.items
	case rater:
		return l.cellRater, l.raters
	}
	for c := range labels {
		labels[c] = c
	}
	return labels, len(labels)
}

// balanced says whether every person has a score in every cell, every item every rater (or, when
// nested, as many raters as every other).
func (l *layout) balanced() bool {
	return len(l.cellItem) == l.items*l.raters && len(l.y) == l.persons*len(l.cellItem)
}
