package agree

import (
	"fmt"
	"math"
)

// Range is the interval of a variance component, in squared units of the score.
type Range struct {
	Name      string
	Low, High float64 // 0 <= Low <= High
	// Open says that the scores put no upper end to the component: High is then the largest value
	// looked at and not a limit. It happens with very few levels and many gaps.
	Open bool
}

// Intervals gives a two-sided interval for each component of [Study.Components].
//
// Balanced scores: the modified large-sample interval of Ting, Burdick, Graybill, Jeyaratnam and
// Lu 1990 (J Stat Comput Simul 35:135-43; formula from memory, checked by simulation) on the mean
// squares, exact for the residual; ends below 0 are put to 0. Unbalanced scores: the profile of the
// restricted likelihood, an approximation. Over 2,000 simulated cohorts of each of seven studies,
// down to three or four raters, 93.5 to 95.9 % of the 95 % intervals held the truth;
// testdata/statistics/components_coverage.txt has the table. Effects are taken to be normal.
//
// It is an error when the level is outside 0..1 or a profile does not settle.
func (s *Study) Intervals(level float64) ([]Range, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	var out []Range
	for k, c := range s.Components {
		var r Range
		var err error
		if s.Balanced {
			r = s.largeSample(k, level)
		} else {
			r, err = s.profile(k, level)
		}
		if err != nil {
			return nil, fmt.Errorf("interval of component %s: %w", c.Name, err)
		}
		r.Name = c.Name
		out = append(out, r)
	}
	return out, nil
}

// term is one mean square in a component: its share, times the mean square, and its degrees of
// freedom.
type term struct{ size, df float64 }

func (s *Study) largeSample(k int, level float64) Range {
	var plus, minus []term
	for t, share := range s.parts[k] {
		if size := share * s.Strata[t].MS; size > 0 {
			plus = append(plus, term{size, float64(s.Strata[t].DF)})
		} else if size < 0 {
			minus = append(minus, term{-size, float64(s.Strata[t].DF)})
		}
	}
	value, tail := s.Strata[k].Variance, (1-level)/2
	low := value - math.Sqrt(math.Max(0, spreadDown(plus, minus, tail)))
	high := value + math.Sqrt(math.Max(0, spreadUp(plus, minus, tail)))
	return Range{Low: math.Max(0, low), High: math.Max(0, high)}
}

// spreadDown is the squared distance from the estimate to its lower limit.
func spreadDown(plus, minus []term, tail float64) float64 {
	sum := 0.0
	for i, p := range plus {
		g := 1 - 1/upperF(tail, p.df, math.Inf(1))
		sum += g * g * p.size * p.size
		for _, m := range minus {
			h := 1/upperF(1-tail, m.df, math.Inf(1)) - 1
			f := upperF(tail, p.df, m.df)
			sum += ((f-1)*(f-1) - g*g*f*f - h*h) / f * p.size * m.size
		}
		for _, q := range plus[:i] {
			sum += pair(p, q, tail) / float64(len(plus)-1)
		}
	}
	for _, m := range minus {
		h := 1/upperF(1-tail, m.df, math.Inf(1)) - 1
		sum += h * h * m.size * m.size
	}
	return sum
}

// spreadUp is the squared distance from the estimate to its upper limit.
func spreadUp(plus, minus []term, tail float64) float64 {
	sum := 0.0
	for _, p := range plus {
		h := 1/upperF(1-tail, p.df, math.Inf(1)) - 1
		sum += h * h * p.size * p.size
		for _, m := range minus {
			g := 1 - 1/upperF(tail, m.df, math.Inf(1))
			f := upperF(1-tail, p.df, m.df)
			sum += ((1-f)*(1-f) - h*h*f*f - g*g) / f * p.size * m.size
		}
	}
	for i, m := range minus {
		g := 1 - 1/upperF(tail, m.df, math.Inf(1))
		sum += g * g * m.size * m.size
		for _, q := range minus[:i] {
			sum += pair(m, q, tail) / float64(len(minus)-1)
		}
	}
	return sum
}

// pair is the cross term of two mean squares of one sign.
func pair(a, b term, tail float64) float64 {
	ga, gb := 1-1/upperF(tail, a.df, math.Inf(1)), 1-1/upperF(tail, b.df, math.Inf(1))
	both := 1 - 1/upperF(tail, a.df+b.df, math.Inf(1))
	n := a.df + b.df
	return (both*both*n*n/(a.df*b.df) - ga*ga*a.df/b.df - gb*gb*b.df/a.df) * a.size * b.size
}
