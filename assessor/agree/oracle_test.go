package agree

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// cohort simulates a study with known variances, in the order of the design, and leaves out a share
// of the scores.
func cohort(random *rand.Rand, d Design, persons, items, raters int, variances []float64, gaps float64) []Observation {
	effects := d.effects()
	drawn := map[string]float64{}
	effect := func(k int, p, i, r int) float64 {
		of := effects[k].of
		key := fmt.Sprint(k)
		if of&person != 0 {
			key += fmt.Sprint("p", p)
		}
		if of&item != 0 {
			key += fmt.Sprint("i", i)
		}
		if of&rater != 0 {
			key += fmt.Sprint("r", r)
		}
		v, seen := drawn[key]
		if !seen {
			v = math.Sqrt(variances[k]) * random.NormFloat64()
			drawn[key] = v
		}
		return v
	}
	var out []Observation
	for p := range persons {
		for i := range items {
			for r := range raters {
				y := 5.0
				for k := range effects {
					y += effect(k, p, i, r)
				}
				if random.Float64() >= gaps {
					out = append(out, Observation{fmt.Sprint(p), fmt.Sprint(i), fmt.Sprint(r), y})
				}
			}
		}
	}
	return out
}

// dense computes the restricted likelihood and its slopes with whole matrices, as the definition
// says.
func dense(l *layout, v []float64) (value float64, score []float64) {
	n := len(l.y)
	effects := l.design.effects()
	of := make([]int, n)
	for p := range l.persons {
		for k := l.start[p]; k < l.start[p+1]; k++ {
			of[k] = p
		}
	}
	var parts []*mat.SymDense
	whole := mat.NewSymDense(n, nil)
	for k, e := range effects {
		labels, _ := l.label(e.of)
		part := mat.NewSymDense(n, nil)
		for a := range n {
			for b := a; b < n; b++ {
				if labels[l.cell[a]] == labels[l.cell[b]] && (e.of&person == 0 || of[a] == of[b]) {
					part.SetSym(a, b, 1)
					whole.SetSym(a, b, whole.At(a, b)+v[k])
				}
			}
		}
		parts = append(parts, part)
	}
	var chol mat.Cholesky
	chol.Factorize(whole)
	var inverse mat.SymDense
	chol.InverseTo(&inverse)
	one := mat.NewVecDense(n, nil)
	for k := range n {
		one.SetVec(k, 1)
	}
	var x mat.VecDense
	x.MulVec(&inverse, one)
	sum := mat.Dot(one, &x)
	var p, xx mat.Dense
	xx.Outer(1/sum, &x, &x)
	p.Sub(&inverse, &xx)
	y := mat.NewVecDense(n, l.y)
	var py mat.VecDense
	py.MulVec(&p, y)
	value = -0.5 * (float64(n-1)*math.Log(2*math.Pi) + chol.LogDet() + math.Log(sum) + mat.Dot(y, &py))
	for _, part := range parts {
		var pv mat.Dense
		pv.Mul(&p, part)
		score = append(score, 0.5*(mat.Inner(&py, part, &py)-pv.Trace()))
	}
	return value, score
}

// The structured likelihood is the dense one, for every design, with and without gaps, inside and
// at the edge; its slopes too.
func TestLikelihoodIsTheDenseOne(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, d := range []Design{ByItem, ByRater, Crossed, Nested} {
		for trial := range 12 {
			effects := d.effects()
			v := make([]float64, len(effects))
			for k := range v {
				v[k] = 0.1 + random.Float64()
				if trial%3 == 2 && k < len(v)-1 && random.IntN(2) == 0 {
					v[k] = 0
				}
			}
			items, raters := 4, 3
			if d == ByItem {
				raters = 1
			}
			if d == ByRater {
				items = 1
			}
			if trial%4 == 3 {
				items, raters = raters, items
				if d == ByItem || d == ByRater {
					items, raters = raters, items
				}
			}
			l, err := lay(cohort(random, d, 7, items, raters, v, float64(trial%2)*0.3), d)
			if err != nil {
				t.Fatal(err)
			}
			e, err := newEquations(l)
			if err != nil {
				t.Fatal(err)
			}
			got, ok := e.at(v)
			if !ok {
				t.Fatal("no likelihood")
			}
			value, score := dense(l, v)
			near(t, fmt.Sprintf("%v trial %d", d, trial), got.value, value, 1e-9*math.Abs(value))
			for k := range score {
				near(t, fmt.Sprintf("%v trial %d slope %s", d, trial, effects[k].name), got.score[k], score[k], 1e-8*(1+math.Abs(score[k])))
			}
		}
	}
}

// At the estimate no component could do better: slopes are 0 above 0 and not above 0 at 0.
func TestGeneralizeStandsAtAMaximum(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for trial := range 60 {
		d := []Design{ByItem, ByRater, Crossed, Nested}[trial%4]
		v := make([]float64, len(d.effects()))
		for k := range v {
			v[k] = random.Float64()
		}
		v[random.IntN(len(v)-1)] = 0
		items, raters := 4, 3
		if d == ByItem {
			raters = 1
		}
		if d == ByRater {
			items = 1
		}
		s, err := Generalize(cohort(random, d, 15, items, raters, v, float64(trial%3)*0.15), d)
		if err != nil {
			t.Fatal(err)
		}
		at, _ := s.equations.at(s.variances)
		for k, slope := range at.score {
			if s.variances[k] > 0 && math.Abs(slope)*s.variances[k] > 1e-4 || s.variances[k] == 0 && slope > 1e-4 {
				t.Errorf("trial %d, %v, %s: variance %g with slope %g", trial, d, s.Components[k].Name, s.variances[k], slope)
			}
		}
		ranges, err := s.Intervals(.95)
		if err != nil {
			t.Fatalf("trial %d: %v", trial, err)
		}
		for k, r := range ranges {
			if !(r.Low >= 0 && r.Low <= r.High && finite(r.High)) {
				t.Errorf("trial %d %s: %+v around %g", trial, r.Name, r, s.Components[k].Variance)
			}
			if !s.Balanced && !(r.Low <= s.Components[k].Variance*(1+1e-9) && s.Components[k].Variance <= r.High) {
				t.Errorf("trial %d %s: %+v around %g", trial, r.Name, r, s.Components[k].Variance)
			}
		}
	}
}
