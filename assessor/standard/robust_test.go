package standard

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestRefusals(t *testing.T) {
	nan := math.NaN()
	var few *TooFew
	wantFew := func(name string, err error) {
		t.Helper()
		if !errors.As(err, &few) || !strings.HasPrefix(err.Error(), "not enough yet: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	wantErr := func(name string, err error) {
		t.Helper()
		if err == nil || errors.As(err, &few) {
			t.Errorf("%s: %v", name, err)
		}
	}
	_, err := Angoff(nil, .95)
	wantFew("no judges", err)
	_, err = Angoff([][]float64{{.5, .5}}, .95)
	wantFew("one judge", err)
	_, err = Angoff([][]float64{{}, {}}, .95)
	wantFew("no items", err)
	for name, r := range map[string][][]float64{"ragged": {{.5}, {.5, .5}}, "NaN": {{nan}, {.5}}, "over 1": {{1.5}, {.5}}} {
		_, err = Angoff(r, .95)
		wantErr(name, err)
	}
	_, err = Angoff([][]float64{{.5}, {.6}}, 1)
	wantErr("level", err)
	same, err := Angoff([][]float64{{.5, .5}, {.5, .5}}, .95)
	if err != nil || same.FixedError != 0 || same.RandomError != 0 {
		t.Errorf("judges at one: %+v, %v", same, err)
	}

	up := []float64{10, 20, 30, 40, 50}
	g := []float64{1, 2, 3, 4, 5}
	_, err = Borderline(g[:3], up[:3], 2, .95, Resample{})
	wantFew("three trainees", err)
	for name, c := range map[string]struct{ g, s []float64 }{
		"lengths": {g[:4], up}, "NaN": {g, []float64{1, 2, nan, 4, 5}}, "one grade": {[]float64{2, 2, 2, 2, 2}, up},
		"falls": {g, []float64{5, 4, 3, 2, 1}}, "constant": {g, []float64{7, 7, 7, 7, 7}}, "Inf grade": {[]float64{1, 2, 3, 4, math.Inf(1)}, up},
	} {
		_, err = Borderline(c.g, c.s, 2, .95, Resample{Samples: 10})
		wantErr(name, err)
	}
	_, err = Borderline(g, up, nan, .95, Resample{})
	wantErr("grade NaN", err)
	_, err = Borderline(g, up, 2, .95, Resample{Samples: -1})
	wantErr("samples", err)
	// One trainee alone has another grade: leaving them out leaves no line.
	if c, err := Borderline([]float64{1, 1, 1, 1, 3}, up, 2, .95, Resample{Samples: 50}); err != nil || math.IsNaN(c.Jackknife) || math.IsNaN(c.Bootstrap) {
		t.Errorf("one other grade: %+v, %v", c, err)
	}
	if _, _, err := Circuit(nil); err == nil {
		t.Error("a circuit without stations")
	}

	half := []bool{false, false, true, true}
	_, err = Contrasting([]float64{1, 2, 3}, []bool{false, true, true}, .95)
	wantFew("one not yet", err)
	_, err = Contrasting([]float64{1, 2, 3}, []bool{false, false, true}, .95)
	wantFew("one competent", err)
	for name, s := range map[string][]float64{"wrong way": {4, 3, 2, 1}, "no spread": {1, 1, 2, 3}, "NaN": {1, nan, 3, 4}, "length": {1, 2, 3}} {
		_, err = Contrasting(s, half, .95)
		wantErr(name, err)
	}
	c, err := Contrasting([]float64{1, 2, 8, 9}, half, .95)
	if err != nil || c.HasLogistic || c.LogisticNote == "" || !c.HasCrossing || c.Fewest != 0 {
		t.Errorf("separated groups: %+v, %v", c, err)
	}

	ok := Acceptable{50, 60, .1, .3}
	_, err = Hofstee(nil, ok)
	wantFew("no scores", err)
	for name, a := range map[string]Acceptable{"cuts": {60, 50, .1, .3}, "shares": {50, 60, .3, .1}, "over 1": {50, 60, .1, 1.2}, "NaN": {nan, 60, .1, .3}} {
		_, err = Hofstee(up, a)
		wantErr(name, err)
	}
}

func TestRecord(t *testing.T) {
	good := Record{What: "C3 recognition", Who: []string{"supervisor-1", "supervisor-2"}, Method: "borderline", Date: "2027-03-01", Cut: 49.0198, Error: .94}
	r, err := NewRecord(good, []byte("grade,score\n"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "C3 recognition: cut 49.02 (standard error 0.94) by borderline, set on 2027-03-01 by supervisor-1, supervisor-2 from data "; !strings.HasPrefix(r.String(), want) {
		t.Errorf("reads %q", r)
	}
	if other, _ := NewRecord(good, []byte("grade,score")); other.Data == r.Data || len(r.Data) != 64 {
		t.Errorf("digests %s and %s", r.Data, other.Data)
	}
	for name, change := range map[string]func(*Record){
		"what": func(r *Record) { r.What = " " }, "who": func(r *Record) { r.Who = nil }, "empty who": func(r *Record) { r.Who = []string{""} },
		"date": func(r *Record) { r.Date = "1 March" }, "method": func(r *Record) { r.Method = "dice" }, "cut": func(r *Record) { r.Cut = math.NaN() },
		"note": func(r *Record) { r.Method = "decided" },
	} {
		bad := good
		change(&bad)
		if r, err := NewRecord(bad, []byte("x")); err == nil {
			t.Errorf("%s: %v", name, r)
		}
	}
	if _, err := NewRecord(good, nil); err == nil {
		t.Error("no data")
	}
}

// Stated intervals cover the true cut about as often as they say (fixed seed).
func TestBorderlineIntervalCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const runs = 2000
	covered := 0
	for range runs {
		var grades, scores []float64
		for range 60 {
			g := float64(1 + random.IntN(5))
			grades, scores = append(grades, g), append(scores, 25+12*g+6*random.NormFloat64())
		}
		c, err := Borderline(grades, scores, 2, .95, Resample{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Interval.Low <= 49 && 49 <= c.Interval.High {
			covered++
		}
	}
	if rate := float64(covered) / runs; rate < .93 || rate > .97 {
		t.Errorf("covers %.3f", rate)
	}
}

func FuzzStandards(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, .1, .4)
	f.Add([]byte{0, 0, 0, 0, 255, 255, 255, 255}, math.NaN(), math.Inf(1))
	f.Fuzz(func(t *testing.T, data []byte, a, b float64) {
		if len(data) > 60 {
			data = data[:60]
		}
		var x, y []float64
		var ok []bool
		for i, v := range data {
			if i%2 == 0 {
				x = append(x, float64(v%7))
			} else {
				y, ok = append(y, float64(v)*a), append(ok, v%2 == 0)
			}
		}
		x = x[:len(y)]
		finite := func(what string, vs ...float64) {
			for _, v := range vs {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s gave %v for %v %v", what, vs, x, y)
					return
				}
			}
		}
		if c, err := Borderline(x, y, b, .95, Resample{Samples: 5, Seed: 1}); err == nil {
			finite("borderline", c.Cut, c.Error, c.Jackknife, c.Sandwich, c.RSquared, c.Interval.Low, c.Bootstrap)
		}
		if c, err := Contrasting(y, ok, .95); err == nil {
			finite("contrasting", c.Crossing, c.WeightedCrossing, c.Logistic, c.LogisticError, c.Midpoint)
		}
		if c, err := Hofstee(y, Acceptable{a, b, .1, .5}); err == nil {
			finite("hofstee", c.Cut, c.Share, c.Below)
		}
		if c, err := Angoff([][]float64{x, y}, .95); err == nil {
			finite("angoff", c.Cut, c.FixedError, c.RandomError, c.Interval.High)
		}
	})
}

func BenchmarkBorderline(b *testing.B) {
	random := rand.New(rand.NewPCG(5, 6))
	var grades, scores []float64
	for range 200 {
		g := float64(1 + random.IntN(5))
		grades, scores = append(grades, g), append(scores, 25+12*g+6*random.NormFloat64())
	}
	for b.Loop() {
		if _, err := Borderline(grades, scores, 2, .95, Resample{2000, 1}); err != nil {
			b.Fatal(err)
		}
	}
}
