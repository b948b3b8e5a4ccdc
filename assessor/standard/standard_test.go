package standard

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

type angoffCase struct {
	Inputs struct {
		Ratings [][]float64 `json:"judges_by_items"`
	}
	Expected struct {
		Cut        float64                                 `json:"cut_total"`
		Proportion float64                                 `json:"cut_proportion"`
		Totals     []float64                               `json:"judge_totals"`
		Spread     float64                                 `json:"sd_judge_totals"`
		Fixed      float64                                 `json:"se_total_items_fixed"`
		FixedShare float64                                 `json:"se_proportion_items_fixed"`
		CI         []float64                               `json:"ci95_total_t"`
		Means      []float64                               `json:"item_means"`
		SD         []float64                               `json:"item_sd"`
		G          struct{ Judge, Item, Residual float64 } `json:"gtheory_components"`
		Random     float64                                 `json:"se_proportion_judges_and_items_random"`
		Judges     float64                                 `json:"se_proportion_judges_random"`
		Trimmed    float64                                 `json:"trimmed10_cut_total"`
		Median     float64                                 `json:"median_cut_total"`
	}
}

type borderlineCase struct {
	Inputs   struct{ Grade, Score []float64 }
	Expected struct {
		N                int
		Intercept, Slope float64
		InterceptError   float64   `json:"se_intercept"`
		SlopeError       float64   `json:"se_slope"`
		R2               float64   `json:"r_squared"`
		Residual         float64   `json:"residual_sd"`
		Grade            float64   `json:"borderline_grade"`
		Cut              float64   `json:"cut_score"`
		Delta            float64   `json:"se_cut_delta_ols"`
		CI               []float64 `json:"ci95_t"`
		RMSE             float64   `json:"se_cut_rmse_formula"`
		Sandwich         float64   `json:"se_cut_hc0_sandwich"`
		Jackknife        float64   `json:"se_cut_jackknife"`
		Bootstrap        float64   `json:"se_cut_bootstrap_pairs_20000"`
		Percentile       []float64 `json:"bootstrap_percentile_ci95"`
		Group            struct {
			N            int
			Mean, Median *float64
		} `json:"borderline_group"`
		Fail float64 `json:"fail_rate_at_cut"`
	}
}

type contrastingCase struct {
	Inputs struct {
		Score     []float64
		Competent []int
	}
	Expected struct {
		N0       int `json:"n_not_competent"`
		N1       int `json:"n_competent"`
		Mean0    float64
		SD0      float64
		Mean1    float64
		SD1      float64
		Equal    float64 `json:"cut_normal_intersection_equal_weight"`
		Weighted float64 `json:"cut_normal_intersection_prior_weighted"`
		Midpoint float64 `json:"cut_midpoint_of_means"`
		Logistic struct {
			Intercept, Slope float64
			Cut              float64 `json:"cut_p50"`
			Error            float64 `json:"se_cut_delta"`
		}
		Fewest struct {
			Errors int       `json:"min_errors"`
			Cuts   oneOrMany `json:"cut_scores_attaining"`
		} `json:"min_misclassification"`
	}
}

// oneOrMany reads a list of one element that is written as a number.
type oneOrMany []float64

func (o *oneOrMany) UnmarshalJSON(data []byte) error {
	if strings.HasPrefix(string(data), "[") {
		return json.Unmarshal(data, (*[]float64)(o))
	}
	*o = make([]float64, 1)
	return json.Unmarshal(data, &(*o)[0])
}

type hofsteeCase struct {
	Inputs   struct{ Score []float64 }
	Expected struct {
		CMin float64  `json:"c_min"`
		CMax float64  `json:"c_max"`
		FMin float64  `json:"f_min"`
		FMax float64  `json:"f_max"`
		Cut  *float64 `json:"cut"`
		Line float64  `json:"line_value_at_cut"`
		Fail float64  `json:"fail_rate_strictly_below_cut"`
	}
}

type reference struct {
	Angoff     struct{ Cases []angoffCase }
	Borderline struct {
		Cases []borderlineCase
		OSCE  struct{ Cut, SE float64 }
	} `json:"borderline_regression"`
	Contrasting struct{ Cases []contrastingCase } `json:"contrasting_groups"`
	Hofstee     struct{ Cases []hofsteeCase }
}

func load(t *testing.T) reference {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/standard_setting.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref reference
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	return ref
}

// near compares closed forms to the reference's 1e-8.
func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-8) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func nearly(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.10g, want %.10g", what, got, want)
	}
}

func TestAngoffAgreesWithTheReference(t *testing.T) {
	cases := load(t).Angoff.Cases
	if len(cases) < 2 {
		t.Fatal("no cases")
	}
	for _, e := range cases {
		want := e.Expected
		c, err := Angoff(e.Inputs.Ratings, .95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "cut", c.Cut, want.Cut)
		near(t, "proportion", c.Proportion, want.Proportion)
		near(t, "spread", c.Spread, want.Spread)
		near(t, "fixed error", c.FixedError, want.Fixed)
		near(t, "fixed error, share", c.FixedError/float64(c.Items), want.FixedShare)
		near(t, "low", c.Interval.Low, want.CI[0])
		near(t, "high", c.Interval.High, want.CI[1])
		near(t, "judge", c.Judge, want.G.Judge)
		near(t, "item", c.Item, want.G.Item)
		near(t, "residual", c.Residual, want.G.Residual)
		near(t, "random error", c.RandomError, want.Random)
		near(t, "judges error", c.JudgesError, want.Judges)
		near(t, "median", c.Median, want.Median)
		near(t, "trimmed", c.Trimmed, want.Trimmed)
		for i := range want.Means {
			near(t, "item mean", c.ItemMeans[i], want.Means[i])
			near(t, "item spread", c.ItemSpread[i], want.SD[i])
		}
		for i := range want.Totals {
			near(t, "total", c.Totals[i], want.Totals[i])
		}
	}
}

func TestBorderlineAgreesWithTheReference(t *testing.T) {
	ref := load(t)
	if len(ref.Borderline.Cases) < 3 {
		t.Fatal("no cases")
	}
	var stations []BorderlineCut
	for _, e := range ref.Borderline.Cases {
		want := e.Expected
		c, err := Borderline(e.Inputs.Grade, e.Inputs.Score, want.Grade, .95, Resample{20_000, 1})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "intercept", c.Intercept, want.Intercept)
		near(t, "slope", c.Slope, want.Slope)
		near(t, "intercept error", c.InterceptError, want.InterceptError)
		near(t, "slope error", c.SlopeError, want.SlopeError)
		near(t, "R squared", c.RSquared, want.R2)
		near(t, "residual", c.Residual, want.Residual)
		near(t, "cut", c.Cut, want.Cut)
		near(t, "error", c.Error, want.Delta)
		near(t, "error by its other formula", c.Error, want.RMSE)
		near(t, "low", c.Interval.Low, want.CI[0])
		near(t, "high", c.Interval.High, want.CI[1])
		near(t, "sandwich", c.Sandwich, want.Sandwich)
		near(t, "jackknife", c.Jackknife, want.Jackknife)
		near(t, "below", c.Below, want.Fail)
		nearly(t, "bootstrap", c.Bootstrap, want.Bootstrap, .03)
		nearly(t, "bootstrap low", c.BootstrapInterval.Low, want.Percentile[0], .03)
		nearly(t, "bootstrap high", c.BootstrapInterval.High, want.Percentile[1], .03)
		if c.N != want.N || c.GroupN != want.Group.N {
			t.Errorf("%d trainees, %d at the grade", c.N, c.GroupN)
		}
		if want.Group.Mean != nil {
			near(t, "group mean", c.GroupMean, *want.Group.Mean)
			near(t, "group median", c.GroupMedian, *want.Group.Median)
		}
		stations = append(stations, c)
	}
	cut, se, err := Circuit(stations)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "circuit", cut, ref.Borderline.OSCE.Cut)
	near(t, "circuit error", se, ref.Borderline.OSCE.SE)
}

func TestContrastingAgreesWithTheReference(t *testing.T) {
	cases := load(t).Contrasting.Cases
	if len(cases) < 2 {
		t.Fatal("no cases")
	}
	for _, e := range cases {
		want := e.Expected
		competent := make([]bool, len(e.Inputs.Competent))
		for i, v := range e.Inputs.Competent {
			competent[i] = v == 1
		}
		c, err := Contrasting(e.Inputs.Score, competent, .95)
		if err != nil {
			t.Fatal(err)
		}
		if c.NotYet != want.N0 || c.Competent != want.N1 || !c.HasCrossing || !c.HasWeighted || !c.HasLogistic {
			t.Errorf("%+v", c)
		}
		near(t, "mean 0", c.NotYetMean, want.Mean0)
		near(t, "mean 1", c.CompetentMean, want.Mean1)
		near(t, "sd 0", c.NotYetSpread, want.SD0)
		near(t, "sd 1", c.CompSpread, want.SD1)
		near(t, "crossing", c.Crossing, want.Equal)
		near(t, "weighted crossing", c.WeightedCrossing, want.Weighted)
		near(t, "midpoint", c.Midpoint, want.Midpoint)
		nearly(t, "intercept", c.Intercept, want.Logistic.Intercept, 1e-7)
		nearly(t, "slope", c.Slope, want.Logistic.Slope, 1e-7)
		nearly(t, "logistic cut", c.Logistic, want.Logistic.Cut, 1e-8)
		// The reference took its covariance one step before the end of the search.
		nearly(t, "logistic error", c.LogisticError, want.Logistic.Error, 2e-5)
		if c.Fewest != want.Fewest.Errors || len(c.FewestAt) != len(want.Fewest.Cuts) {
			t.Errorf("fewest %d at %v, want %d at %v", c.Fewest, c.FewestAt, want.Fewest.Errors, want.Fewest.Cuts)
			continue
		}
		for i, at := range want.Fewest.Cuts {
			near(t, "fewest at", c.FewestAt[i], at)
		}
	}
}

func TestHofsteeAgreesWithTheReference(t *testing.T) {
	cases := load(t).Hofstee.Cases
	if len(cases) < 3 {
		t.Fatal("no cases")
	}
	for _, e := range cases {
		want := e.Expected
		c, err := Hofstee(e.Inputs.Score, Acceptable{want.CMin, want.CMax, want.FMin, want.FMax})
		if want.Cut == nil {
			if !errors.Is(err, ErrNoCrossing) {
				t.Errorf("got %+v, %v where there is no crossing", c, err)
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		near(t, "cut", c.Cut, *want.Cut)
		near(t, "line", c.Share, want.Line)
		near(t, "below", c.Below, want.Fail)
	}
}

// On its grid the compromise can be found by walking: every crossing Hofstee gives is one, and it
// gives one whenever walking finds one.
func TestHofsteeIsACrossing(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	crossed := 0
	for range 2000 {
		n := 1 + random.IntN(30)
		scores := make([]float64, n)
		for i := range scores {
			scores[i] = float64(40 + random.IntN(40))
		}
		a := Acceptable{LowestCut: float64(40 + random.IntN(20)), LowestShare: .2 * random.Float64(), HighestShare: .25 + .5*random.Float64()}
		a.HighestCut = a.LowestCut + 1 + 20*random.Float64()
		line := func(c float64) float64 {
			return a.HighestShare + (c-a.LowestCut)/(a.HighestCut-a.LowestCut)*(a.LowestShare-a.HighestShare)
		}
		got, err := Hofstee(scores, a)
		under := below(scores, a.LowestCut) <= line(a.LowestCut)
		reaches := below(scores, a.HighestCut+1e-9) >= line(a.HighestCut)
		if (err == nil) != (under && reaches) {
			t.Fatalf("%v %+v: %+v, %v", scores, a, got, err)
		}
		if err != nil {
			continue
		}
		crossed++
		const e = 1e-7
		if below(scores, got.Cut-e) > line(got.Cut-e)+1e-6 || below(scores, got.Cut+e) < line(got.Cut+e)-1e-6 {
			t.Fatalf("%v %+v: no crossing at %+v", scores, a, got)
		}
	}
	if crossed < 200 {
		t.Errorf("only %d crossed", crossed)
	}
}

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
