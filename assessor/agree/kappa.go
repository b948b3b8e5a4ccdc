package agree

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat/distuv"
)

// Weighting says how much a disagreement between two categories counts.
type Weighting int

const (
	Unweighted Weighting = iota // every disagreement counts the same
	Linear                      // by the distance between the categories, which must be in order
	Quadratic                   // by the squared distance
)

// Disagreements returns the disagreement weights for k categories in order, 0 on the diagonal.
func (w Weighting) Disagreements(k int) [][]float64 {
	out := make([][]float64, k)
	for i := range out {
		out[i] = make([]float64, k)
		for j := range out[i] {
			d := math.Abs(float64(i - j))
			switch {
			case w == Unweighted && i != j:
				d = 1
			case w == Quadratic:
				d *= d
			}
			out[i][j] = d
		}
	}
	return out
}

// Kappa is agreement beyond chance with its errors.
type Kappa struct {
	N                  int     // subjects
	Value              float64 // at most 1; 0 is agreement by chance
	Observed, Expected float64 // weighted proportions of agreement, seen and by chance
	Error              float64 // standard error, for the interval
	NullError          float64 // standard error when agreement is by chance alone, for Z
	Z, P               float64 // test of agreement by chance alone, P two-sided
	Low, High          float64 // Value plus and minus normal quantile times Error, kept at most 1
}

// Cross counts how two raters sorted the same subjects: table[i][j] is how many the first put in
// category i and the second in j. Categories come out in order: by number when all are numbers,
// by letter otherwise; an order given in categories (may be nil) is kept, and must name them all.
// It is an error when the two are not of one length; an empty string is a missing rating, and
// such a subject is left out.
func Cross(first, second, categories []string) (table [][]int, order []string, err error) {
	if len(first) != len(second) {
		return nil, nil, fmt.Errorf("the first rater has %d ratings and the second %d: give one each for the same subjects", len(first), len(second))
	}
	if categories == nil {
		categories = inOrder(append(slices.Clone(first), second...))
	}
	at := map[string]int{}
	for i, c := range categories {
		at[c] = i
	}
	table = make([][]int, len(categories))
	for i := range table {
		table[i] = make([]int, len(categories))
	}
	for s := range first {
		if first[s] == "" || second[s] == "" {
			continue
		}
		i, known := at[first[s]]
		j, known2 := at[second[s]]
		if !known || !known2 {
			return nil, nil, fmt.Errorf("subject %d is rated %q and %q, which are not both among the categories %q", s+1, first[s], second[s], categories)
		}
		table[i][j]++
	}
	return table, categories, nil
}

// inOrder lists the different non-empty names, by number when all are numbers.
func inOrder(names []string) []string {
	slices.Sort(names)
	names = slices.Compact(names)
	names = slices.DeleteFunc(names, func(s string) bool { return s == "" })
	value := map[string]float64{}
	for _, s := range names {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsNaN(v) {
			return names
		}
		value[s] = v
	}
	slices.SortStableFunc(names, func(a, b string) int {
		switch {
		case value[a] < value[b]:
			return -1
		case value[a] > value[b]:
			return 1
		}
		return 0
	})
	return names
}

// Cohen computes kappa of two raters (Cohen 1960, weighted 1968) from table[i][j], the number of
// subjects put in category i by the first and j by the second, with standard errors after Fleiss,
// Cohen and Everitt 1969 (Psychol Bull 72:323-7) and a normal interval at the two-sided level.
// disagreement[i][j] >= 0 is how much it counts to differ so, 0 on the diagonal; see
// [Weighting.Disagreements]. Subjects are taken to be independent.
//
// It is an error when the table is not square or holds a count below 0, when the weights do not
// fit, and when a rater used one category only: kappa is then 0 whatever the other did. Fewer than
// two subjects is a [NotYet].
func Cohen(table [][]int, disagreement [][]float64, level float64) (*Kappa, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	w, err := agreementWeights(len(table), disagreement)
	if err != nil {
		return nil, err
	}
	p, rows, columns, n, err := shares(table)
	if err != nil {
		return nil, err
	}
	k := &Kappa{N: n}
	byRow, byColumn := make([]float64, len(p)), make([]float64, len(p))
	for i := range p {
		for j := range p {
			k.Observed += w[i][j] * p[i][j]
			k.Expected += w[i][j] * rows[i] * columns[j]
			byRow[i] += w[i][j] * columns[j]
			byColumn[j] += w[i][j] * rows[i]
		}
	}
	left := 1 - k.Expected
	if left <= 1e-12 {
		return nil, errors.New("chance alone would make these raters agree wholly under these weights: kappa is not defined")
	}
	k.Value = (k.Observed - k.Expected) / left
	var seen, null float64
	for i := range p {
		for j := range p {
			a := w[i][j]*left - (byRow[i]+byColumn[j])*(1-k.Observed)
			seen += p[i][j] * a * a
			a = w[i][j] - byRow[i] - byColumn[j]
			null += rows[i] * columns[j] * a * a
		}
	}
	back := k.Observed*k.Expected - 2*k.Expected + k.Observed
	k.Error = math.Sqrt(math.Max(0, seen-back*back)/float64(n)) / (left * left)
	k.NullError = math.Sqrt(math.Max(0, null-k.Expected*k.Expected)/float64(n)) / left
	return k.tested(level)
}

// tested adds the test and the interval to a kappa with its errors.
func (k *Kappa) tested(level float64) (*Kappa, error) {
	if !(k.NullError > 0) || !finite(k.Value, k.Error, k.NullError) {
		return nil, errors.New("these ratings leave no chance disagreement to compare with: kappa has no error here; rate more subjects")
	}
	k.Z = k.Value / k.NullError
	k.P = 2 * distuv.UnitNormal.Survival(math.Abs(k.Z))
	half := distuv.UnitNormal.Quantile((1+level)/2) * k.Error
	k.Low, k.High = k.Value-half, math.Min(1, k.Value+half)
	return k, nil
}

// agreementWeights turns disagreement into agreement weights, 1 on the diagonal and 0 at worst.
func agreementWeights(k int, disagreement [][]float64) ([][]float64, error) {
	if len(disagreement) != k {
		return nil, fmt.Errorf("weights for %d categories do not fit a table of %d", len(disagreement), k)
	}
	worst := 0.0
	for i, row := range disagreement {
		if len(row) != k {
			return nil, fmt.Errorf("row %d of the weights has %d entries, not %d", i+1, len(row), k)
		}
		for j, v := range row {
			if !finite(v) || v < 0 || v > largest || i == j && v != 0 {
				return nil, fmt.Errorf("disagreement weight %g in row %d, column %d: give 0 on the diagonal and finite numbers of at least 0 elsewhere", v, i+1, j+1)
			}
			worst = math.Max(worst, v)
		}
	}
	if worst == 0 {
		return nil, errors.New("all disagreement weights are 0: then nothing counts as disagreement")
	}
	out := make([][]float64, k)
	for i := range out {
		out[i] = make([]float64, k)
		for j := range out[i] {
			out[i][j] = 1 - disagreement[i][j]/worst
		}
	}
	return out, nil
}

// shares turns counts into proportions with their margins.
func shares(table [][]int) (p [][]float64, rows, columns []float64, n int, err error) {
	const most = 1 << 40
	for i, row := range table {
		if len(row) != len(table) {
			return nil, nil, nil, 0, fmt.Errorf("row %d of the table has %d counts, not %d: give both raters the same categories", i+1, len(row), len(table))
		}
		for j, v := range row {
			if v < 0 || v > most {
				return nil, nil, nil, 0, fmt.Errorf("count %d in row %d, column %d: give counts of at least 0", v, i+1, j+1)
			}
			n += v
		}
	}
	if err := atLeast(2, n, "subjects", "kappa needs subjects that both raters sorted"); err != nil {
		return nil, nil, nil, 0, err
	}
	p, rows, columns = make([][]float64, len(table)), make([]float64, len(table)), make([]float64, len(table))
	for i, row := range table {
		p[i] = make([]float64, len(table))
		for j, v := range row {
			p[i][j] = float64(v) / float64(n)
			rows[i] += p[i][j]
			columns[j] += p[i][j]
		}
	}
	for name, margin := range map[string][]float64{"first": rows, "second": columns} {
		if slices.Max(margin) > 1-1e-12 {
			return nil, nil, nil, 0, fmt.Errorf("the %s rater put every subject in one category: kappa is 0 then whatever the other did, and says nothing", name)
		}
	}
	return p, rows, columns, n, nil
}
