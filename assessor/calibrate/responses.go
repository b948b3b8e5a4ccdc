package calibrate

import (
	"fmt"
	"math"
	"slices"
)

// Bounds of a calibration, so that it takes bounded time and memory.
const (
	fewestPersons = 10 // with a score that is neither lowest nor highest (common practice, no source)
	mostTop       = 40
	mostColumns   = 1_000
	mostSteps     = 2_000 // categories above 0, over all columns
	mostResponses = 20_000_000
)

const absent = -1

// table is the responses: x[person][column] in 0..top[column], or absent. A column is an item, or
// an item seen by a rater.
type table struct {
	x    [][]int
	top  []int
	name func(column int) string
	// everyone counts persons with the lowest and highest totals as informative too, as they are when
	// abilities have a distribution.
	everyone bool
}

// scored checks responses[person][item], whole numbers of at least 0 or NaN, and finds the highest
// category of each item.
func scored(responses [][]float64) (*table, error) {
	if err := atLeast(fewestPersons, len(responses), "persons", "a calibration rests on persons who met some items and missed others"); err != nil {
		return nil, err
	}
	columns := len(responses[0])
	if err := atLeast(2, columns, "items", "an item's difficulty is relative to another's"); err != nil {
		return nil, err
	}
	if columns > mostColumns || columns*len(responses) > mostResponses {
		return nil, fmt.Errorf("%d persons by %d items are too many to calibrate at once: at most %d items and %d responses", len(responses), columns, mostColumns, mostResponses)
	}
	t := &table{top: make([]int, columns), name: func(c int) string { return fmt.Sprintf("item %d", c+1) }}
	for p, row := range responses {
		if len(row) != columns {
			return nil, fmt.Errorf("person %d has %d responses and person 1 has %d: give every person one cell for each item", p+1, len(row), columns)
		}
		x := make([]int, columns)
		for c, v := range row {
			switch {
			case math.IsNaN(v):
				x[c] = absent
				continue
			case v < 0 || v > mostTop || v != math.Trunc(v):
				return nil, fmt.Errorf("person %d has %g on item %d: give a whole number from 0 to %d, or leave the cell empty", p+1, v, c+1, mostTop)
			}
			x[c] = int(v)
			t.top[c] = max(t.top[c], x[c])
		}
		t.x = append(t.x, x)
	}
	return t, nil
}

// total is a person's score over the columns answered, and the highest it could be.
func (t *table) total(p int) (score, most, answered int) {
	for c, v := range t.x[p] {
		if v == absent {
			continue
		}
		score += v
		most += t.top[c]
		answered++
	}
	return score, most, answered
}

// informative says whether a person's score leaves anything open.
func (t *table) informative(p int) bool {
	score, most, answered := t.total(p)
	return score > 0 && score < most || t.everyone && answered > 0
}

// counts is how many informative persons gave each response to each column.
func (t *table) counts() (of [][]int, persons int) {
	of = make([][]int, len(t.top))
	for c, top := range t.top {
		of[c] = make([]int, top+1)
	}
	for p := range t.x {
		if !t.informative(p) {
			continue
		}
		persons++
		for c, v := range t.x[p] {
			if v != absent {
				of[c][v]++
			}
		}
	}
	return of, persons
}

// islands sorts things (columns, raters) into groups that informative persons connect; of says to
// which thing a column belongs.
func (t *table) islands(n int, of func(column int) int) [][]int {
	parent := make([]int, n)
	for k := range parent {
		parent[k] = k
	}
	root := func(k int) int {
		for parent[k] != k {
			parent[k] = parent[parent[k]]
			k = parent[k]
		}
		return k
	}
	for p := range t.x {
		if !t.informative(p) {
			continue
		}
		first := -1
		for c, v := range t.x[p] {
			if v == absent {
				continue
			}
			if first < 0 {
				first = root(of(c))
			}
			parent[root(of(c))] = first
		}
	}
	groups := map[int][]int{}
	for k := range n {
		groups[root(k)] = append(groups[root(k)], k)
	}
	var out [][]int
	for _, g := range groups {
		out = append(out, g)
	}
	slices.SortFunc(out, func(a, b []int) int { return a[0] - b[0] })
	return out
}

// unreached looks, for items scored 0 or 1, for a group of items that everybody who met one of the
// group met before any outside it: following "some person met i and missed j" from one item must
// lead to all and back (Fischer 1981, Psychometrika 46:59-77). It returns such a group, or nil.
func (t *table) unreached() []int {
	n := len(t.top)
	edge := make([][]bool, n)
	for i := range edge {
		edge[i] = make([]bool, n)
	}
	for p := range t.x {
		var met, missed []int
		for c, v := range t.x[p] {
			switch v {
			case 0:
				missed = append(missed, c)
			case 1:
				met = append(met, c)
			}
		}
		for _, i := range met {
			for _, j := range missed {
				edge[i][j] = true
			}
		}
	}
	for _, back := range []bool{false, true} {
		reached := make([]bool, n)
		reached[0] = true
		queue := []int{0}
		for len(queue) > 0 {
			i := queue[0]
			queue = queue[1:]
			for j := range n {
				if !reached[j] && (!back && edge[i][j] || back && edge[j][i]) {
					reached[j] = true
					queue = append(queue, j)
				}
			}
		}
		var left []int
		for k, r := range reached {
			if !r {
				left = append(left, k)
			}
		}
		if left != nil {
			return left
		}
	}
	return nil
}
