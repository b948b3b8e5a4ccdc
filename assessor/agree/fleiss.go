package agree

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Share is the agreement on one category against all others.
type Share struct {
	Used  float64 // proportion of all ratings in this category
	Kappa float64
	Z, P  float64 // test of agreement by chance alone, P two-sided
}

// Several is the kappa of several raters, overall and for each category in use. Categories[j] is
// nil for a category nobody used or everybody used throughout: no agreement on it can be told.
type Several struct {
	Kappa
	Raters     int // ratings of each subject
	Categories []*Share
}

// Count turns ratings[subject][rater] into counts[subject][category], with the categories in the
// order of [Cross]. An empty string is an error: [Fleiss] needs every subject rated equally often.
func Count(ratings [][]string) (counts [][]int, categories []string, err error) {
	var all []string
	for s, row := range ratings {
		for r, name := range row {
			if name == "" {
				return nil, nil, fmt.Errorf("subject %d has no rating by rater %d: kappa of several raters needs every rating; Krippendorff's alpha allows gaps", s+1, r+1)
			}
		}
		all = append(all, row...)
	}
	categories = inOrder(all)
	at := map[string]int{}
	for i, c := range categories {
		at[c] = i
	}
	counts = make([][]int, len(ratings))
	for s, row := range ratings {
		counts[s] = make([]int, len(categories))
		for _, name := range row {
			counts[s][at[name]]++
		}
	}
	return counts, categories, nil
}

// Fleiss computes the kappa of several raters (Fleiss 1971, Psychol Bull 76:378-82) from
// counts[subject][category], how many raters put the subject there; every subject is rated equally
// often, not necessarily by the same raters. NullError is that of Fleiss, Nee and Landis 1979
// (Psychol Bull 86:974-7); Error is the jackknife over subjects, and the interval normal at the
// two-sided level.
//
// It is an error when counts are below 0, subjects are rated unequally often or all ratings are
// alike. Fewer than two subjects or two ratings each is a [NotYet]; so are three subjects at least
// for the jackknife.
func Fleiss(counts [][]int, level float64) (*Several, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	m, err := ratingsEach(counts)
	if err != nil {
		return nil, err
	}
	n, k := len(counts), len(counts[0])
	used, agreed := make([]float64, k), make([]float64, n)
	for s, row := range counts {
		for j, c := range row {
			used[j] += float64(c)
			agreed[s] += float64(c) * float64(c-1) / (float64(m) * float64(m-1))
		}
	}
	total := 0.0
	for _, a := range agreed {
		total += a
	}
	out := &Several{Raters: m, Categories: make([]*Share, k)}
	out.N = n
	value, observed, expected, ok := fleissValue(total, used, n, m)
	if !ok {
		return nil, fmt.Errorf("every rating is in one category: nothing shows whether the raters would agree on another")
	}
	out.Value, out.Observed, out.Expected = value, observed, expected
	out.Error, ok = fleissJackknife(counts, agreed, used, total, m)
	if !ok {
		return nil, fmt.Errorf("all but one subject are rated into one category: the error of kappa cannot be told; rate more subjects")
	}
	ratings := float64(n) * float64(m) * float64(m-1)
	var pq, skew float64
	for _, u := range used {
		p := u / float64(n*m)
		pq += p * (1 - p)
		skew += p * (1 - p) * (1 - 2*p)
	}
	out.NullError = math.Sqrt(2/ratings*math.Max(0, pq*pq-skew)) / pq
	out.categories(counts, used, ratings)
	if _, err := out.tested(level); err != nil {
		return nil, err
	}
	return out, nil
}

func (s *Several) categories(counts [][]int, used []float64, ratings float64) {
	spread := math.Sqrt(2 / ratings)
	for j, u := range used {
		p := u / float64(s.N*s.Raters)
		if p == 0 || p == 1 {
			continue
		}
		apart := 0.0
		for _, row := range counts {
			apart += float64(row[j]) * float64(s.Raters-row[j])
		}
		kappa := 1 - apart/(ratings*p*(1-p))
		z := kappa / spread
		s.Categories[j] = &Share{Used: p, Kappa: kappa, Z: z, P: 2 * distuv.UnitNormal.Survival(math.Abs(z))}
	}
}

func fleissValue(agreed float64, used []float64, n, m int) (value, observed, expected float64, ok bool) {
	observed = agreed / float64(n)
	for _, u := range used {
		p := u / float64(n*m)
		expected += p * p
	}
	if 1-expected <= 1e-12 {
		return 0, observed, expected, false
	}
	return (observed - expected) / (1 - expected), observed, expected, true
}

// fleissJackknife is the standard error of kappa from leaving out each subject in turn.
func fleissJackknife(counts [][]int, agreed, used []float64, total float64, m int) (float64, bool) {
	n := len(counts)
	left := make([]float64, n)
	rest := make([]float64, len(used))
	mean := 0.0
	for s, row := range counts {
		for j, c := range row {
			rest[j] = used[j] - float64(c)
		}
		value, _, _, ok := fleissValue(total-agreed[s], rest, n-1, m)
		if !ok {
			return 0, false
		}
		left[s] = value
		mean += value / float64(n)
	}
	sum := 0.0
	for _, v := range left {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum * float64(n-1) / float64(n)), true
}

// ratingsEach checks counts and returns how often each subject is rated.
func ratingsEach(counts [][]int) (int, error) {
	const most = 1 << 30
	if err := atLeast(3, len(counts), "subjects", "the error of kappa comes from how subjects differ"); err != nil {
		return 0, err
	}
	m := -1
	for s, row := range counts {
		sum := 0
		for j, c := range row {
			if c < 0 || c > most {
				return 0, fmt.Errorf("subject %d has count %d in category %d: give counts of at least 0", s+1, c, j+1)
			}
			sum += c
		}
		if len(row) != len(counts[0]) {
			return 0, fmt.Errorf("subject %d has %d categories and subject 1 has %d", s+1, len(row), len(counts[0]))
		}
		if m >= 0 && sum != m {
			return 0, fmt.Errorf("subject %d has %d ratings and subject 1 has %d: kappa of several raters needs them equal; Krippendorff's alpha allows gaps", s+1, sum, m)
		}
		m = sum
	}
	return m, atLeast(2, m, "raters", "one rater alone shows no agreement")
}
