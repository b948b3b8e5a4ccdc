package agree

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

func TestGeneralizeRefuses(t *testing.T) {
	score := func(p, i, r string, y float64) Observation { return Observation{p, i, r, y} }
	full := func(persons, items, raters int, y func(p, i, r int) float64) []Observation {
		var out []Observation
		for p := range persons {
			for i := range items {
				for r := range raters {
					out = append(out, score(fmt.Sprint(p), fmt.Sprint(i), fmt.Sprint(r), y(p, i, r)))
				}
			}
		}
		return out
	}
	noise := rand.New(rand.NewPCG(5, 5))
	random := func(p, i, r int) float64 { return float64(p) + noise.NormFloat64() }
	oneRaterEach := []Observation{}
	for p := range 12 {
		for i := range 3 {
			oneRaterEach = append(oneRaterEach, score(fmt.Sprint(p), fmt.Sprint(i), fmt.Sprint(p%3), noise.NormFloat64()))
		}
	}
	for name, c := range map[string]struct {
		obs    []Observation
		design Design
		says   string
	}{
		"empty":          {nil, Crossed, "not enough yet: 2 more persons"},
		"one person":     {full(1, 3, 3, random), Crossed, "not enough yet: 1 more person;"},
		"single rater":   {full(5, 4, 1, random), Crossed, "not enough yet: 1 more rater;"},
		"one item":       {full(5, 1, 4, random), Crossed, "not enough yet: 1 more item;"},
		"nested single":  {full(5, 4, 1, random), Nested, "not enough yet: 1 more rater;"},
		"constant":       {full(5, 4, 2, func(int, int, int) float64 { return 3 }), Crossed, "every score is the same"},
		"nothing left":   {full(5, 4, 1, func(p, i, _ int) float64 { return float64(p + 2*i) }), ByItem, "no residual variation is left"},
		"NaN":            {[]Observation{score("a", "b", "c", math.NaN())}, Crossed, `person "a", item "b", rater "c" has no score`},
		"infinite":       {[]Observation{score("a", "b", "c", math.Inf(-1))}, ByRater, "between -1e100 and 1e100"},
		"twice":          {append(full(3, 2, 2, random), score("1", "1", "1", 4)), Crossed, "has two scores"},
		"confounded":     {oneRaterEach, Crossed, "cannot tell the components"},
		"unknown design": {full(3, 3, 3, random), Design(9), "design 9 is unknown"},
		"too many cells": {full(2, 3000, 1, random), ByItem, "at most 2000"},
		"only main gone": {[]Observation{score("a", "1", "", 1), score("b", "2", "", 2), score("c", "1", "", 4)}, ByItem, "cannot tell"},
	} {
		got, err := Generalize(c.obs, c.design)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
	var missing *NotYet
	if _, err := Generalize(nil, ByItem); !errors.As(err, &missing) || missing.More != 2 {
		t.Errorf("no scores: %v", err)
	}
}

func TestDecideRefusesAndReaches(t *testing.T) {
	v := Variances{Crossed, []float64{1, .3, .2, .5, .1, .05, .8}}
	for name, try := range map[string]func() error{
		"few": func() error {
			_, err := (Variances{Crossed, []float64{1}}).Decide(Plan{Items: 1, Raters: 1})
			return err
		},
		"negative": func() error { _, err := (Variances{ByItem, []float64{1, -1, 1}}).Decide(Plan{Items: 1}); return err },
		"zero":     func() error { _, err := (Variances{ByItem, []float64{0, 0, 0}}).Decide(Plan{Items: 1}); return err },
		"NaN": func() error {
			_, err := (Variances{ByItem, []float64{1, math.NaN(), 1}}).Decide(Plan{Items: 1})
			return err
		},
		"no items": func() error { _, err := v.Decide(Plan{Raters: 1}); return err },
		"no rater": func() error { _, err := v.Decide(Plan{Items: 1}); return err },
		"fixed": func() error {
			_, err := (Variances{ByItem, []float64{1, 1, 1}}).Decide(Plan{Items: 1, ItemsFixed: true})
			return err
		},
		"target": func() error { _, err := v.Reach(1, Plan{Items: 9, Raters: 9}); return err },
		"far":    func() error { _, err := v.Reach(.99, Plan{Items: 3, Raters: 3}); return err },
	} {
		if err := try(); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
	within := Plan{Items: 40, Raters: 4}
	got, err := v.Reach(.8, within)
	if err != nil || len(got) == 0 {
		t.Fatal(err)
	}
	for _, d := range got {
		fewer := d.Plan
		fewer.Items--
		if d.Phi < .8 {
			t.Errorf("%+v does not reach", d)
		}
		if fewer.Items > 0 {
			if less, _ := v.Decide(fewer); less.Phi >= .8 {
				t.Errorf("%+v: one item fewer reaches too", d)
			}
		}
	}
	// Every plan that reaches the target is covered by one given.
	for items := 1; items <= within.Items; items++ {
		for raters := 1; raters <= within.Raters; raters++ {
			d, _ := v.Decide(Plan{Items: items, Raters: raters})
			covered := false
			for _, g := range got {
				covered = covered || g.Raters == raters && g.Items <= items
			}
			if (d.Phi >= .8) != covered {
				t.Errorf("%d items, %d raters: Phi %.4f, listed %v", items, raters, d.Phi, covered)
			}
		}
	}
	one, err := (Variances{ByRater, []float64{1, .2, .8}}).Reach(.8, Plan{Raters: 20})
	if err != nil || len(one) != 1 || one[0].Raters != 4 {
		t.Errorf("p x r: %+v, %v", one, err)
	}
}

// Missing cells: Shrout and Fleiss's table with two taken out, against lme4.
func TestIncompleteAgreesWithTheReference(t *testing.T) {
	var ref intraclass
	read(t, "icc.json", &ref)
	got, err := Incomplete(gaps(ref.Missing.Inputs))
	if err != nil {
		t.Fatal(err)
	}
	want := ref.Missing.Expected
	near(t, "target", got.Target, want.Target, 1e-4*want.Target)
	near(t, "rater", got.Rater, want.Rater, 1e-4*want.Rater)
	near(t, "residual", got.Residual, want.Residual, 1e-4*want.Residual)
	near(t, "absolute", got.Absolute, want.Absolute, 1e-4)
	near(t, "consistency", got.Consistency, want.Consistency, 1e-4)
	near(t, "scores", float64(got.Scores), float64(want.N), 0)
	if _, err := Incomplete([][]float64{{1, math.NaN()}, {math.NaN(), 2}}); err == nil {
		t.Error("a table without overlap was accepted")
	}
}

// A cohort of 500 by 200; ZONULE_LONG=1 takes 10,000 by 200.
func TestGeneralizeTakesManyPersons(t *testing.T) {
	if testing.Short() {
		t.Skip("a large cohort")
	}
	random := rand.New(rand.NewPCG(8, 8))
	persons := 500
	if os.Getenv("ZONULE_LONG") != "" {
		persons = 10_000
	}
	obs := cohortOfMany(random, persons, 200)
	s, err := Generalize(obs, ByItem)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "persons", s.Components[0].Variance, 1, .25)
	near(t, "residual", s.Components[2].Variance, 2, .04)
}

// cohortOfMany is p x i with variances 1, 0.5 and 2.
func cohortOfMany(random *rand.Rand, persons, items int) []Observation {
	difficulty := make([]float64, items)
	for i := range difficulty {
		difficulty[i] = math.Sqrt(.5) * random.NormFloat64()
	}
	var out []Observation
	for p := range persons {
		own := random.NormFloat64()
		name := fmt.Sprint(p)
		for i := range items {
			out = append(out, Observation{Person: name, Item: fmt.Sprint(i), Score: own + difficulty[i] + math.Sqrt2*random.NormFloat64()})
		}
	}
	return out
}

// Whatever the bytes, a study gives finite numbers or an error.
func FuzzGeneralize(f *testing.F) {
	f.Add(uint8(2), []byte("123456789abcdefghijklmnopqrstuvwxyz"))
	f.Add(uint8(3), []byte{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 9, 9, 9, 9, 200, 1, 4, 3})
	f.Add(uint8(0), []byte{1, 2, 3, 3, 2, 1, 1, 2, 3})
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		if len(data) > 120 {
			data = data[:120]
		}
		d := Design(which % 4)
		var obs []Observation
		for k, b := range data {
			if b > 230 {
				continue
			}
			obs = append(obs, Observation{fmt.Sprint(k / 6), fmt.Sprint(k % 3), fmt.Sprint(k / 3 % 2), float64(b%11) * math.Pow(10, float64(which/64)*20-20)})
		}
		s, err := Generalize(obs, d)
		if err != nil {
			return
		}
		for _, c := range s.Components {
			if !finite(c.Variance, c.Error) || c.Variance < 0 {
				t.Errorf("%+v", c)
			}
		}
		if !finite(s.Mean, s.MeanError, s.LogLikelihood) {
			t.Errorf("%+v", s)
		}
		ranges, _ := s.Intervals(.9) // may be refused; what is given must make sense
		for _, r := range ranges {
			if !(r.Low >= 0 && r.Low <= r.High && finite(r.High)) {
				t.Errorf("%+v", r)
			}
		}
		if decided, err := s.Variances().Decide(Plan{Items: 3, Raters: 2}); err == nil && !finite(decided.Phi, decided.Erho2) {
			t.Errorf("%+v", decided)
		}
	})
}
