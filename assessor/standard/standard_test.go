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
