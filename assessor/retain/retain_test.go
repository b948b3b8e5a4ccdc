package retain

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// Ebbinghaus's formula at the reference's times to 1e-9, and against his printed table: his own
// curve misses his own numbers by at most 3.4 per cent of savings (the exact minutes of the first
// three are from memory).
func TestSavingsAgreesWithTheReference(t *testing.T) {
	data, err := os.ReadFile("../../testdata/statistics/ebbinghaus_savings.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Expected []struct {
			Minutes float64 `json:"t_minutes_used"`
			Savings float64 `json:"savings_Q_percent"`
			B       float64 `json:"formula_b"`
		}
		Extra []struct{ T, B float64 } `json:"formula_extra"`
	}
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Expected) != 7 || len(ref.Extra) < 9 {
		t.Fatalf("%d intervals, %d more", len(ref.Expected), len(ref.Extra))
	}
	for _, e := range ref.Expected {
		b, err := Savings(e.Minutes, 1.84, 1.25)
		if err != nil || math.Abs(b-e.B) > 1e-9 || math.Abs(b-e.Savings) > 3.4 {
			t.Errorf("after %g minutes: %.10g, want %.10g, printed %g (%v)", e.Minutes, b, e.B, e.Savings, err)
		}
	}
	for _, e := range ref.Extra {
		if b, err := Savings(e.T, 1.84, 1.25); err != nil || math.Abs(b-e.B) > 1e-9 {
			t.Errorf("after %g minutes: %.10g, want %.10g (%v)", e.T, b, e.B, err)
		}
	}
	if b, err := Savings(1, 1.84, 1.25); err != nil || b != 100 {
		t.Errorf("at one minute: %g, %v", b, err)
	}
	for _, bad := range [][3]float64{{.5, 1.84, 1.25}, {math.NaN(), 1, 1}, {math.Inf(1), 1, 1}, {5, 0, 1}, {5, 1, -1}} {
		if b, err := Savings(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("%v gave %g", bad, b)
		}
	}
}

// programme makes trainees with a known curve; persons differ by spread in their log odds.
func programme(random *rand.Rand, trainees, drills int, intercept, decay, spread float64) []Trainee {
	var out []Trainee
	for i := range trainees {
		own := spread * random.NormFloat64()
		tr, day := Trainee{Name: fmt.Sprint("T", i)}, 0.0
		for range drills {
			gap := math.Floor(math.Exp(6 * random.Float64())) // 1 to 400 days
			day += gap
			met := true
			if len(tr.Drills) > 0 {
				met = random.Float64() < odds(intercept+own-decay*math.Log1p(gap))
			}
			tr.Drills = append(tr.Drills, Drill{day, met})
		}
		out = append(out, tr)
	}
	return out
}

func TestFitRecovers(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	c, err := Fit(programme(random, 60, 20, 4, .9, 0))
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Intercept-4) > 3*c.InterceptError || math.Abs(c.Decay-.9) > 3*c.DecayError {
		t.Errorf("%+v", c)
	}
	r, err := c.Refresher(.8, .95)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Exp((4-math.Log(4))/.9) - 1
	if !r.Reached || !r.LowKnown || !r.HighKnown || r.Low > want || r.High < want || r.Low >= r.Days || r.Days >= r.High {
		t.Errorf("%+v, want %.1f", r, want)
	}
	at := c.At(.95, r.Days, r.Low, r.High)
	if math.Abs(at[0].Kept-.8) > 1e-9 || math.Abs(at[1].Low-.8) > 1e-9 || math.Abs(at[2].High-.8) > 1e-9 {
		t.Errorf("the band at the days is %+v", at)
	}
	if !strings.Contains(r.String(), "falls to 80 % after") {
		t.Errorf("reads %q", r)
	}
	lower, _ := c.Refresher(.02, .95)
	if lower.Reached && !lower.Beyond {
		t.Errorf("a day past the longest gap is not marked: %+v", lower)
	}
	if never, _ := c.Refresher(.001, .95); never.Reached || !strings.Contains(never.String(), "ten years") {
		t.Errorf("%+v", never)
	}
	if at := c.At(.95, -1, math.NaN(), math.Inf(1)); !math.IsNaN(at[0].Kept) || !math.IsNaN(at[1].Kept) || !math.IsNaN(at[2].Kept) {
		t.Errorf("%v", at)
	}
	first, _ := c.Refresher(.999, .95)
	if !first.Reached || first.Days != 0 || first.Low != 0 {
		t.Errorf("a floor above the start: %+v", first)
	}
}

// The stated interval of the refresher day covers the truth about as often as it says, with trainees
// alike and with trainees that differ (where the curve meant is the average one).
func TestRefresherCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const runs = 300
	want := math.Exp((4-math.Log(4))/.9) - 1
	covered, fitted := 0, 0
	for range runs {
		c, err := Fit(programme(random, 30, 12, 4, .9, 0))
		if err != nil {
			continue
		}
		r, err := c.Refresher(.8, .95)
		if err != nil {
			t.Fatal(err)
		}
		fitted++
		if r.LowKnown && r.Low <= want && (!r.HighKnown || r.High >= want) {
			covered++
		}
	}
	rate := float64(covered) / float64(fitted)
	t.Logf("covers %.3f of %d", rate, fitted)
	if fitted < runs*9/10 || rate < .91 || rate > .985 {
		t.Errorf("covers %.3f of %d", rate, fitted)
	}
}

func TestFitSaysNotYet(t *testing.T) {
	gaps := func(n, trainees int, f func(i int) Gap) []Gap {
		out := make([]Gap, n)
		for i := range out {
			out[i] = f(i)
			out[i].Trainee = fmt.Sprint(i % trainees)
		}
		return out
	}
	random := rand.New(rand.NewPCG(5, 6))
	for name, c := range map[string]struct {
		gaps   []Gap
		reason string
	}{
		"nothing":     {nil, "at least 20 gaps"},
		"few":         {gaps(12, 6, func(i int) Gap { return Gap{Days: float64(i), Kept: i < 6} }), "at least 20 gaps"},
		"one trainee": {gaps(40, 1, func(i int) Gap { return Gap{Days: float64(i), Kept: i%3 > 0} }), "at least 4 trainees"},
		"all kept":    {gaps(40, 8, func(i int) Gap { return Gap{Days: float64(i), Kept: true} }), "all was kept"},
		"none kept":   {gaps(40, 8, func(i int) Gap { return Gap{Days: float64(i)} }), "nothing was kept"},
		"separated":   {gaps(40, 8, func(i int) Gap { return Gap{Days: float64(i), Kept: i < 20} }), "curve between them"},
		"one length":  {gaps(40, 8, func(i int) Gap { return Gap{Days: 30, Kept: i%2 == 0} }), "one length"},
		"no decay":    {gaps(60, 8, func(i int) Gap { return Gap{Days: float64(i), Kept: random.Float64() < .8} }), "no decay"},
		"improves":    {gaps(60, 8, func(i int) Gap { return Gap{Days: float64(i), Kept: random.Float64() < float64(i)/60} }), "no decay"},
	} {
		got, err := FitGaps(c.gaps)
		var not *NotYet
		if got != nil || !errors.As(err, &not) || not.More < 1 || !strings.Contains(err.Error(), c.reason) || !strings.HasPrefix(err.Error(), "not enough yet: ") {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		var not *NotYet
		if _, err := FitGaps([]Gap{{"a", bad, true}}); err == nil || errors.As(err, &not) {
			t.Errorf("a gap of %g: %v", bad, err)
		}
	}
	if _, err := Fit([]Trainee{{"a", []Drill{{math.NaN(), true}}}}); err == nil {
		t.Error("day NaN")
	}
	c := &Curve{Intercept: 2, Decay: .5, Trainees: 9, covariance: [][]float64{{.1, 0}, {0, .01}}}
	for _, bad := range [][2]float64{{0, .9}, {1, .9}, {.8, 0}, {math.NaN(), .9}} {
		if r, err := c.Refresher(bad[0], bad[1]); err == nil {
			t.Errorf("%v: %v", bad, r)
		}
	}
}

func TestGaps(t *testing.T) {
	got, err := Gaps([]Trainee{{"a", []Drill{{30, false}, {0, true}, {10, true}, {50, true}}}, {"b", nil}, {"c", []Drill{{5, true}}}})
	if err != nil || len(got) != 2 || got[0] != (Gap{"a", 10, true}) || got[1] != (Gap{"a", 20, false}) {
		t.Errorf("%v, %v", got, err)
	}
}

func TestClock(t *testing.T) {
	th := DefaultThresholds()
	for _, c := range []struct {
		days  []float64
		today float64
		want  string
	}{
		{nil, 10, "never practised"},
		{[]float64{3, 10}, 10, "last practised 0 days ago: current; in 60 days: refresh soon"},
		{[]float64{0, -5}, 59, "last practised 59 days ago: current; in 1 days: refresh soon"},
		{[]float64{0}, 60, "last practised 60 days ago: refresh soon; in 60 days: refresh now"},
		{[]float64{0}, 500, "last practised 500 days ago: refresh now"},
	} {
		got, err := Clock(c.days, c.today, th)
		if err != nil || got.String() != c.want {
			t.Errorf("%v on day %g: %q, %v", c.days, c.today, got, err)
		}
	}
	nan := math.NaN()
	for name, f := range map[string]func() (Reading, error){
		"future":     func() (Reading, error) { return Clock([]float64{11}, 10, th) },
		"NaN":        func() (Reading, error) { return Clock([]float64{nan}, 10, th) },
		"today":      func() (Reading, error) { return Clock(nil, nan, th) },
		"nothing":    func() (Reading, error) { return Clock(nil, 1, nil) },
		"not from 0": func() (Reading, error) { return Clock(nil, 1, []Threshold{{5, "a"}}) },
		"order":      func() (Reading, error) { return Clock(nil, 1, []Threshold{{0, "a"}, {9, "b"}, {9, "c"}}) },
		"word":       func() (Reading, error) { return Clock(nil, 1, []Threshold{{0, " "}}) },
	} {
		if r, err := f(); err == nil {
			t.Errorf("%s: %v", name, r)
		}
	}
}

func FuzzRetain(f *testing.F) {
	f.Add([]byte{1, 20, 40, 3, 60, 200, 5, 7, 9, 11, 30, 31, 44, 90, 180, 2, 4, 8, 16, 32, 64, 128, 255, 3, 9}, .8)
	f.Add([]byte{}, math.NaN())
	f.Fuzz(func(t *testing.T, data []byte, floor float64) {
		var gaps []Gap
		for i, b := range data {
			gaps = append(gaps, Gap{fmt.Sprint(i % 5), float64(b), b%3 > 0 || b < 60})
		}
		c, err := FitGaps(gaps)
		if err != nil {
			return
		}
		if r, err := c.Refresher(floor, .9); err == nil {
			for _, v := range []float64{r.Days, r.Low, r.High, c.Decay, c.DecayError} {
				if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
					t.Errorf("%+v of %+v", r, c)
				}
			}
		}
	})
}

func BenchmarkFit(b *testing.B) {
	trainees := programme(rand.New(rand.NewPCG(7, 8)), 200, 20, 4, .9, .5)
	for b.Loop() {
		if _, err := Fit(trainees); err != nil {
			b.Fatal(err)
		}
	}
}
