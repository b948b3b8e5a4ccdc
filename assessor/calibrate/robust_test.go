package calibrate

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

var models = map[string]func([][]float64) (*Scale, error){"Rasch": Rasch, "rating scale": RatingScale, "partial credit": PartialCredit}

func TestScalesRefuse(t *testing.T) {
	nan := math.NaN()
	fill := func(n int, row func(p int) []float64) [][]float64 {
		var out [][]float64
		for p := range n {
			out = append(out, row(p))
		}
		return out
	}
	bit := func(p, k int) float64 { return float64(p >> k & 1) }
	for name, c := range map[string]struct {
		model string
		x     [][]float64
		says  string
	}{
		"empty":          {"Rasch", nil, "not enough yet: 10 more persons"},
		"nine persons":   {"Rasch", fill(9, func(p int) []float64 { return []float64{bit(p, 0), bit(p, 1)} }), "not enough yet: 1 more person;"},
		"one item":       {"Rasch", fill(20, func(p int) []float64 { return []float64{bit(p, 0)} }), "not enough yet: 1 more item;"},
		"no items":       {"Rasch", fill(20, func(p int) []float64 { return nil }), "not enough yet: 2 more items;"},
		"all missing":    {"partial credit", fill(20, func(int) []float64 { return []float64{nan, nan} }), "not enough yet: 10 more persons"},
		"constant":       {"partial credit", fill(20, func(int) []float64 { return []float64{2, 2, 2} }), "not enough yet: 10 more persons"},
		"all zero":       {"rating scale", fill(20, func(int) []float64 { return []float64{0, 0, 0} }), "not enough yet: 10 more persons"},
		"ragged":         {"Rasch", fill(20, func(p int) []float64 { return make([]float64, 2+p%2) }), "one cell for each item"},
		"fraction":       {"Rasch", fill(20, func(int) []float64 { return []float64{.5, 1} }), "whole number"},
		"negative":       {"Rasch", fill(20, func(int) []float64 { return []float64{-1, 1} }), "whole number"},
		"infinite":       {"Rasch", fill(20, func(int) []float64 { return []float64{math.Inf(1), 1} }), "whole number"},
		"too high":       {"partial credit", fill(20, func(int) []float64 { return []float64{41, 1} }), "0 to 40"},
		"not binary":     {"Rasch", fill(20, func(p int) []float64 { return []float64{2, bit(p, 0)} }), "partial-credit"},
		"easy item":      {"Rasch", fill(20, func(p int) []float64 { return []float64{1, bit(p, 0), 1 - bit(p, 0)} }), "no lower bound"},
		"hard item":      {"Rasch", fill(20, func(p int) []float64 { return []float64{0, bit(p, 0), 1 - bit(p, 0)} }), "no upper bound"},
		"empty category": {"partial credit", fill(20, func(p int) []float64 { return []float64{2 * bit(p, 0), bit(p, 1), 1 - bit(p, 0)} }), "no person who counts has score 1"},
		"empty in all":   {"rating scale", fill(20, func(p int) []float64 { return []float64{2 * bit(p, 0), 2 * bit(p, 1), 2 - 2*bit(p, 0)} }), "merge that category"},
		"Guttman":        {"Rasch", fill(40, func(p int) []float64 { k := p % 4; return []float64{b2f(k > 0), b2f(k > 1), b2f(k > 2)} }), "no lower bound"},
		"islands": {"Rasch", fill(40, func(p int) []float64 {
			if p%2 == 0 {
				return []float64{bit(p, 1), 1 - bit(p, 1), nan, nan}
			}
			return []float64{nan, nan, bit(p, 1), 1 - bit(p, 1)}
		}), "share no person"},
		"separated": {"Rasch", fill(40, func(p int) []float64 {
			if p%2 == 0 {
				return []float64{1, 1, bit(p, 1), 1 - bit(p, 1)}
			}
			return []float64{bit(p, 1), 1 - bit(p, 1), 0, 0}
		}), "separated"},
		"separated, partial credit": {"partial credit", fill(40, func(p int) []float64 {
			if p%2 == 0 {
				return []float64{1, 1, bit(p, 1), 1 - bit(p, 1)}
			}
			return []float64{bit(p, 1), 1 - bit(p, 1), 0, 0}
		}), ""},
	} {
		got, err := models[c.model](c.x)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
	var missing *NotYet
	if _, err := Rasch(nil); !errors.As(err, &missing) || missing.More != 10 {
		t.Errorf("no persons: %v", err)
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestSeverityRefuses(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 2))
	make := func(persons int, score func(p, i, r int) int) []Rating {
		var out []Rating
		for p := range persons {
			for i := range 3 {
				for r := range 2 {
					if s := score(p, i, r); s >= 0 {
						out = append(out, Rating{fmt.Sprint(p), fmt.Sprint("drill ", i), fmt.Sprint("rater ", r), s})
					}
				}
			}
		}
		return out
	}
	chance := func(p, i, r int) int { return random.IntN(3) }
	for name, c := range map[string]struct {
		ratings []Rating
		says    string
	}{
		"empty":        {nil, "not enough yet: 10 more persons"},
		"few":          {make(8, chance), "not enough yet: 2 more persons"},
		"single rater": {make(30, func(p, i, r int) int { return []int{chance(p, i, r), -1}[r] }), "not enough yet: 1 more rater;"},
		"negative":     {append(make(30, chance), Rating{"x", "y", "z", -1}), "give 0 to 40"},
		"twice":        {append(make(30, chance), Rating{"1", "drill 1", "rater 1", 1}), "scored twice"},
		"lenient":      {make(30, func(p, i, r int) int { return []int{random.IntN(3), 2}[r] }), `rater "rater 1" has the highest score only`},
		"apart":        {make(30, func(p, i, r int) int { return []int{random.IntN(3), -1}[(p+r)%2] }), "raters fall into groups that share no person"},
		"gap":          {make(30, func(p, i, r int) int { return 2 * random.IntN(2) }), "score 1"},
		"constant":     {make(30, func(p, i, r int) int { return 1 }), "not enough yet"},
	} {
		if got, err := Severity(c.ratings); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
}

func checkScale(t *testing.T, s *Scale, x [][]float64) {
	t.Helper()
	for _, item := range s.Items {
		for _, e := range append(item.Thresholds, item.Location) {
			if !finite(e.Value, e.Error) || e.Error < 0 || math.Abs(e.Value) > 80 {
				t.Errorf("%s of %v: %+v", s.Model, x, item)
			}
		}
	}
	for _, p := range s.Persons {
		if !finite(p.Warm.Value, p.Warm.Error) || p.Likelihood != nil && !finite(p.Likelihood.Value, p.Likelihood.Error) {
			t.Errorf("%s of %v: %+v", s.Model, x, p)
		}
	}
	if !finite(s.LogLikelihood) {
		t.Errorf("%s: %g", s.Model, s.LogLikelihood)
	}
}

// Whatever the bytes, a scale holds finite numbers or there is an error.
func FuzzScales(f *testing.F) {
	f.Add([]byte("0110100110010110100101101001011001101001100101100110100101101001"))
	f.Add([]byte("012021102201120012210021102210021120011202102110220112001221"))
	f.Add([]byte{0, 1, 2, 3, 0, 0, 250, 1, 3, 3, 2, 250})
	f.Fuzz(func(t *testing.T, data []byte) {
		data = data[:min(len(data), 160)]
		x := make([][]float64, (len(data)+3)/4)
		for k, b := range data {
			v := float64(b % 4)
			if data[0]%3 > 0 {
				v = float64(b % 2)
			}
			if b > 225 {
				v = math.NaN()
			}
			x[k/4] = append(x[k/4], v)
		}
		for len(x) > 0 && len(x[len(x)-1]) < 4 {
			x[len(x)-1] = append(x[len(x)-1], math.NaN())
		}
		for _, model := range models {
			if s, err := model(x); err == nil {
				checkScale(t, s, x)
			}
		}
		var r []Rating
		for p, row := range x {
			for c, v := range row {
				if !math.IsNaN(v) {
					r = append(r, Rating{fmt.Sprint(p), fmt.Sprint(c / 2), fmt.Sprint(c % 2), int(v)})
				}
			}
		}
		if got, err := Severity(r); err == nil {
			for _, l := range append(got.Items, got.Raters...) {
				if !finite(l.Measure.Value, l.Measure.Error) {
					t.Errorf("%+v", l)
				}
			}
		}
	})
}
