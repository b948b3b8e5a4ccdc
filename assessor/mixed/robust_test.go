package mixed

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// cohort makes trainees with known parameters: plateau, start and the logarithm of the rate.
func cohort(random *rand.Rand, trainees, drills int, sigma float64) []Subject {
	var out []Subject
	d := make([]float64, 3)
	for i := range trainees {
		par := []float64{85 + 4*random.NormFloat64(), 40 + 6*random.NormFloat64(), math.Log(.1) + .3*random.NormFloat64()}
		s := Subject{Name: fmt.Sprint("T", i+1)}
		for x := range drills {
			s.X = append(s.X, float64(x))
			s.Y = append(s.Y, asymptotic.Value(par, float64(x), d)+sigma*random.NormFloat64())
		}
		out = append(out, s)
	}
	return out
}

var all3 = NonlinearOptions{Random: []int{0, 1, 2}}

// Known parameters come back, and each trainee's own parameters are covered by their stated errors.
func TestNonlinearRecovers(t *testing.T) {
	subjects := cohort(rand.New(rand.NewPCG(1, 2)), 60, 30, 3)
	f, err := Nonlinear(asymptotic, subjects, []float64{80, 30, -2}, all3)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{85, 40, math.Log(.1)} {
		near(t, "fixed", f.Fixed[i], want, 4*f.Errors[i])
	}
	for i, want := range []float64{4, 6, .3} {
		near(t, "between", math.Sqrt(f.Random[i][i]), want, want/3)
	}
	near(t, "sigma", f.Sigma, 3, .15)
	// Placing a trainee of the fit gives the fit's own effect.
	p, err := f.Place(subjects[7].X, subjects[7].Y)
	if err != nil {
		t.Fatal(err)
	}
	for k, b := range f.Effects[7].B {
		near(t, "placed", p.Par[k]-f.Fixed[k], b, 1e-4*math.Sqrt(f.Random[k][k]))
	}
	// Nobody's drills: the cohort's parameters, and nothing of one's own.
	none, err := f.Place(nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for k := range none.Par {
		near(t, "nobody", none.Par[k], f.Fixed[k], 1e-12)
		near(t, "nobody's variance", none.Cov[k][k], f.Random[k][k]+f.FixedCov[k][k], 1e-9)
		if none.Own[k] > 1e-9 {
			t.Errorf("with no drills %g of parameter %d is the trainee's own", none.Own[k], k)
		}
	}
	if !(p.Own[0] > .5) || p.Own[0] > 1 {
		t.Errorf("after 30 drills %g of the plateau is the trainee's own", p.Own[0])
	}
	few, _ := f.Place(subjects[7].X[:3], subjects[7].Y[:3])
	if few.Own[0] > .3 || few.Own[1] < few.Own[0] {
		t.Errorf("after 3 drills own shares are %v", few.Own)
	}
}

func TestNonlinearWithoutAnswer(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	good := cohort(random, 4, 8, 2)
	start := []float64{80, 30, -2}
	edit := func(f func(s []Subject)) []Subject {
		var out []Subject
		for _, s := range good {
			out = append(out, Subject{s.Name, append([]float64(nil), s.X...), append([]float64(nil), s.Y...)})
		}
		f(out)
		return out
	}
	flat := edit(func(s []Subject) {
		for g := range s {
			for i := range s[g].Y {
				s[g].Y[i] = 5
			}
		}
	})
	for name, c := range map[string]struct {
		s     []Subject
		start []float64
		opt   NonlinearOptions
	}{
		"nobody":       {nil, start, all3},
		"one trainee":  {good[:1], start, all3},
		"NaN":          {edit(func(s []Subject) { s[1].Y[2] = math.NaN() }), start, all3},
		"Inf":          {edit(func(s []Subject) { s[1].X[2] = math.Inf(1) }), start, all3},
		"lengths":      {edit(func(s []Subject) { s[1].X = s[1].X[:3] }), start, all3},
		"constant":     {flat, start, all3},
		"start NaN":    {good, []float64{80, math.NaN(), 1}, all3},
		"start short":  {good, []float64{80, 1}, all3},
		"start absurd": {good, []float64{80, 30, 1e6}, all3},
		"nothing":      {good, start, NonlinearOptions{}},
		"no such":      {good, start, NonlinearOptions{Random: []int{3}}},
		"twice":        {good, start, NonlinearOptions{Random: []int{0, 0}}},
		"two drills": {edit(func(s []Subject) {
			s[0].X, s[0].Y = s[0].X[:2], s[0].Y[:2]
			s[1].X, s[1].Y = s[1].X[:2], s[1].Y[:2]
			s[2].X, s[2].Y, s[3].X, s[3].Y = nil, nil, nil, nil
		}), start, all3},
	} {
		if f, err := Nonlinear(asymptotic, c.s, c.start, c.opt); err == nil {
			t.Errorf("%s: %+v", name, f)
		}
	}
	var few *TooFew
	if _, err := Nonlinear(asymptotic, good[:1], start, all3); !errors.As(err, &few) || !strings.HasPrefix(err.Error(), "not enough yet: 1 more trainees") {
		t.Errorf("one trainee: %v", err)
	}
	f, err := Nonlinear(asymptotic, good, start, NonlinearOptions{Random: []int{0}})
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range [][2][]float64{{{1}, {math.NaN()}}, {{1, 2}, {3}}, {{math.Inf(1)}, {2}}} {
		if p, err := f.Place(bad[0], bad[1]); err == nil {
			t.Errorf("placed %v: %v", bad, p)
		}
	}
}

func TestLinearWithoutAnswer(t *testing.T) {
	group := func(name string, slope float64, y ...float64) Group {
		g := Group{Name: name, Y: y}
		for i := range y {
			g.X = append(g.X, []float64{1, slope * float64(i)})
			g.Z = append(g.Z, []float64{1})
		}
		return g
	}
	a, b := group("a", 1, 1, 2, 4, 3), group("b", 1, 2, 3, 3, 5)
	for name, groups := range map[string][]Group{
		"nobody":    nil,
		"one":       {a},
		"exact":     {group("a", 1, 1, 2, 3, 4), group("b", 1, 1, 2, 3, 4)},
		"aliased":   {group("a", 0, 1, 2, 4, 3), group("b", 0, 2, 3, 3, 5)},
		"NaN":       {a, group("b", 1, 1, math.NaN())},
		"no drills": {{}, {}},
		"rows":      {a, {Name: "b", Y: []float64{1}}},
		"ragged":    {a, {Name: "b", Y: []float64{1}, X: [][]float64{{1}}, Z: [][]float64{{1}}}},
		"too few":   {group("a", 1, 1), group("b", 1, 2)},
	} {
		if f, err := Linear(groups, Options{}); err == nil {
			t.Errorf("%s: %+v", name, f)
		}
	}
	f, err := Linear([]Group{a, b}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Profile(1); err == nil {
		t.Error("level 1")
	}
}

// Ten thousand trainees of two hundred drills fit: the likelihood sees their sums alone.
func TestLinearOfAProgramme(t *testing.T) {
	if testing.Short() {
		t.Skip("two million drills")
	}
	random := rand.New(rand.NewPCG(5, 6))
	const trainees, drills = 10_000, 200
	rows := make([][]float64, drills)
	for i := range rows {
		rows[i] = []float64{1, float64(i) / drills}
	}
	groups := make([]Group, trainees)
	for g := range groups {
		a, b := 60+5*random.NormFloat64(), 20+3*random.NormFloat64()
		y := make([]float64, drills)
		for i := range y {
			y[i] = a + b*rows[i][1] + 4*random.NormFloat64()
		}
		groups[g] = Group{Name: fmt.Sprint(g), Y: y, X: rows, Z: rows}
	}
	f, err := Linear(groups, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", f.Fixed[0], 60, .3)
	near(t, "slope", f.Fixed[1], 20, .2)
	near(t, "sigma", f.Sigma, 4, .02)
	near(t, "between", math.Sqrt(f.Random[1][1]), 3, .15)
}

func FuzzNonlinear(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, uint8(3))
	f.Add([]byte{0, 0, 0, 0, 0, 0, 255, 255, 255, 255}, uint8(2))
	f.Fuzz(func(t *testing.T, data []byte, n uint8) {
		if len(data) > 40 {
			data = data[:40]
		}
		subjects := make([]Subject, n%5)
		for i, v := range data {
			if len(subjects) > 0 {
				s := &subjects[i%len(subjects)]
				s.X, s.Y = append(s.X, float64(v%16)), append(s.Y, float64(int8(v)))
			}
		}
		fit, err := Nonlinear(asymptotic, subjects, []float64{50, 10, -2}, NonlinearOptions{Random: []int{0, 2}, Diagonal: n > 100})
		if err != nil {
			return
		}
		for i := range fit.Fixed {
			if !finite(fit.Fixed[i]) || !finite(fit.Errors[i]) || !finite(fit.Sigma) || !finite(fit.LogLik) {
				t.Errorf("%+v", fit)
			}
		}
		if p, err := fit.Place([]float64{1, 2}, []float64{float64(n), 3}); err == nil {
			for i := range p.Par {
				if !finite(p.Par[i]) || !(p.Cov[i][i] >= 0) {
					t.Errorf("%+v", p)
				}
			}
		}
	})
}

// The curve of 200 trainees by 60 drills, everything differing and correlated.
func BenchmarkNonlinear200x60(b *testing.B) {
	subjects := cohort(rand.New(rand.NewPCG(7, 8)), 200, 60, 3)
	for b.Loop() {
		if _, err := Nonlinear(asymptotic, subjects, []float64{80, 30, -2}, all3); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLinearSleep(b *testing.B) {
	groups := groupsOf(b, readCSV(b, "sleepstudy.csv"), "Reaction", "Days", "Subject", true)
	for b.Loop() {
		if _, err := Linear(groups, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
