package agree

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

type wantKappa struct {
	Kappa    float64
	Observed float64    `json:"p_observed"`
	Expected float64    `json:"p_expected"`
	Error    float64    `json:"se_nonnull_FCE1969"`
	Null     float64    `json:"se_null_FCE1969"`
	Z        float64    `json:"z_null"`
	CI       [2]float64 `json:"ci95"`
}

type kappas struct {
	Cases []struct {
		ID       string
		Inputs   [][]int
		Expected struct {
			N                             int
			Unweighted, Linear, Quadratic wantKappa
			Weights                       [][]float64 `json:"custom_disagreement_weights"`
			Custom                        float64     `json:"custom_weighted_kappa"`
		}
	}
	Fleiss struct {
		Inputs   [][]string
		Expected struct {
			Categories []string
			Counts     [][]int
			Kappa      float64
			Null       float64 `json:"se_null_Fleiss1979"`
			Z          float64
			Each       []float64 `json:"kappa_per_category"`
		}
	}
	Krippendorff struct {
		Inputs   [][]*float64 `json:"inputs_raters_by_units"`
		Expected struct{ Alpha map[string]float64 }
	}
}

// Cohen's 1968 table and Stuart's eye-testing table, against R irr, vcd and the formulas of
// Fleiss, Cohen and Everitt 1969: kappa to 1e-8, standard errors to 1e-6.
func TestCohenAgreesWithTheReference(t *testing.T) {
	var ref kappas
	read(t, "kappa.json", &ref)
	if len(ref.Cases) != 2 {
		t.Fatalf("%d cases in the reference", len(ref.Cases))
	}
	for _, c := range ref.Cases {
		for w, want := range map[Weighting]wantKappa{Unweighted: c.Expected.Unweighted, Linear: c.Expected.Linear, Quadratic: c.Expected.Quadratic} {
			got, err := Cohen(c.Inputs, w.Disagreements(len(c.Inputs)), .95)
			if err != nil {
				t.Fatal(err)
			}
			near(t, c.ID+" kappa", got.Value, want.Kappa, 1e-8)
			near(t, c.ID+" observed", got.Observed, want.Observed, 1e-8)
			near(t, c.ID+" expected", got.Expected, want.Expected, 1e-8)
			near(t, c.ID+" error", got.Error, want.Error, 1e-6)
			near(t, c.ID+" null error", got.NullError, want.Null, 1e-6)
			near(t, c.ID+" z", got.Z, want.Z, 1e-6*want.Z)
			near(t, c.ID+" low", got.Low, want.CI[0], 1e-6)
			near(t, c.ID+" high", got.High, want.CI[1], 1e-6)
			if got.N != c.Expected.N {
				t.Errorf("%s: %d subjects", c.ID, got.N)
			}
		}
		if c.Expected.Weights != nil {
			got, err := Cohen(c.Inputs, c.Expected.Weights, .95)
			if err != nil {
				t.Fatal(err)
			}
			near(t, c.ID+" own weights", got.Value, c.Expected.Custom, 1e-8)
		}
	}
}

// Fleiss 1971, 30 subjects by 6 raters, against R irr.
func TestFleissAgreesWithTheReference(t *testing.T) {
	var ref kappas
	read(t, "kappa.json", &ref)
	want := ref.Fleiss.Expected
	counts, categories, err := Count(ref.Fleiss.Inputs)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want.Categories, categories); d != "" {
		t.Fatal(d)
	}
	if d := cmp.Diff(want.Counts, counts); d != "" {
		t.Fatal(d)
	}
	got, err := Fleiss(counts, .95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kappa", got.Value, want.Kappa, 1e-8)
	near(t, "null error", got.NullError, want.Null, 1e-6)
	near(t, "z", got.Z, want.Z, 1e-6)
	for j, w := range want.Each {
		near(t, categories[j], got.Categories[j].Kappa, w, 1e-8)
	}
	if !(got.Low < got.Value && got.Value < got.High && got.Error > 0) {
		t.Errorf("interval %g to %g of %g", got.Low, got.High, got.Value)
	}
}

// Krippendorff's own example, 4 raters by 12 units with gaps, against R irr.
func TestAlphaAgreesWithTheReference(t *testing.T) {
	var ref kappas
	read(t, "kappa.json", &ref)
	units := transposed(gaps(ref.Krippendorff.Inputs))
	for name, metric := range map[string]Metric{"nominal": Nominal, "ordinal": Ordinal, "interval": Interval, "ratio": Ratio} {
		got, err := Alpha(units, metric)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, got.Alpha, ref.Krippendorff.Expected.Alpha[name], 1e-8)
		low, high, err := AlphaInterval(units, metric, .95, 1000, 6)
		if err != nil || !(low < got.Alpha && got.Alpha < high && high <= 1) {
			t.Errorf("%s: interval %g to %g of %g, %v", name, low, high, got.Alpha, err)
		}
		again, _, _ := AlphaInterval(units, metric, .95, 1000, 6)
		if again != low {
			t.Errorf("%s: one seed gave %g and %g", name, low, again)
		}
	}
}

func transposed(rows [][]float64) [][]float64 {
	out := make([][]float64, len(rows[0]))
	for _, row := range rows {
		for j, v := range row {
			out[j] = append(out[j], v)
		}
	}
	return out
}

func TestCrossCounts(t *testing.T) {
	table, order, err := Cross([]string{"10", "2", "", "2"}, []string{"2", "2", "2", "10"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"2", "10"}, order) + cmp.Diff([][]int{{1, 1}, {1, 0}}, table); d != "" {
		t.Error(d)
	}
	if _, _, err := Cross([]string{"a"}, nil, nil); err == nil {
		t.Error("different lengths were accepted")
	}
	if _, _, err := Cross([]string{"a"}, []string{"b"}, []string{"a"}); err == nil {
		t.Error("a category outside the order was accepted")
	}
}

func TestKappaRefuses(t *testing.T) {
	two := Linear.Disagreements(2)
	for name, c := range map[string]struct {
		table   [][]int
		weights [][]float64
		says    string
	}{
		"empty":        {nil, nil, "weights"},
		"no subjects":  {[][]int{{0, 0}, {0, 0}}, two, "not enough yet: 2 more subjects"},
		"not square":   {[][]int{{1, 2}, {3}}, two, "the same categories"},
		"negative":     {[][]int{{1, -2}, {3, 1}}, two, "at least 0"},
		"one category": {[][]int{{5, 4}, {0, 0}}, two, "first rater put every subject in one category"},
		"bad weights":  {[][]int{{5, 4}, {1, 2}}, [][]float64{{0, math.NaN()}, {1, 0}}, "disagreement weight NaN"},
		"weights few":  {[][]int{{5, 4}, {1, 2}}, Linear.Disagreements(3), "do not fit"},
		"zero weights": {[][]int{{5, 4}, {1, 2}}, [][]float64{{0, 0}, {0, 0}}, "nothing counts"},
	} {
		if got, err := Cohen(c.table, c.weights, .95); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
	for name, counts := range map[string][][]int{
		"empty": nil, "unequal": {{1, 2}, {2, 2}, {1, 2}}, "one rater": {{1, 0}, {0, 1}, {1, 0}},
		"alike": {{3, 0}, {3, 0}, {3, 0}}, "negative": {{4, -1}, {2, 1}, {2, 1}}, "all but one": {{3, 0}, {3, 0}, {2, 1}},
	} {
		if got, err := Fleiss(counts, .95); err == nil {
			t.Errorf("%s: got %+v", name, got)
		}
	}
	nan := math.NaN()
	for name, units := range map[string][][]float64{
		"empty": nil, "single rater": {{1}, {2}, {3}}, "gaps only": {{nan, 1}, {2, nan}}, "alike": {{1, 1}, {1, 1}},
		"infinite": {{1, math.Inf(1)}, {1, 2}},
	} {
		if got, err := Alpha(units, Interval); err == nil {
			t.Errorf("%s: got %+v", name, got)
		}
	}
	if _, err := Alpha([][]float64{{-1, 2}, {1, 2}}, Ratio); err == nil {
		t.Error("a ratio of negative values was accepted")
	}
}

// Alpha by the pairs themselves, for the metrics that Alpha computes by sums.
func FuzzAlpha(f *testing.F) {
	f.Add([]byte{1, 2, 1, 3, 3, 3, 2, 2, 255, 0, 4, 1})
	f.Fuzz(func(t *testing.T, data []byte) {
		data = data[:min(len(data), 60)]
		units := make([][]float64, (len(data)+3)/4)
		for i, b := range data {
			v := float64(b % 7)
			if b > 240 {
				v = math.NaN()
			}
			units[i/4] = append(units[i/4], v)
		}
		for m := Nominal; m <= Ratio; m++ {
			got, err := Alpha(units, m)
			if err != nil {
				continue
			}
			if !finite(got.Alpha) || got.Alpha > 1+1e-12 {
				t.Errorf("metric %d: alpha %g of %v", m, got.Alpha, units)
			}
			if want := byPairs(units, m); math.Abs(got.Alpha-want) > 1e-9*math.Max(1, math.Abs(want)) {
				t.Errorf("metric %d of %v: alpha %g, by pairs %g", m, units, got.Alpha, want)
			}
		}
	})
}

func byPairs(units [][]float64, m Metric) float64 {
	var all []float64
	kept, _ := pairable(units, m)
	for _, u := range kept {
		all = append(all, u...)
	}
	between := func(a, b float64) float64 {
		if m != Ordinal {
			return squared(a, b, m)
		}
		sum := 0.0
		for _, v := range all {
			switch {
			case v == a || v == b:
				sum += .5
			case v > min(a, b) && v < max(a, b):
				sum++
			}
		}
		if a == b {
			return 0
		}
		return sum * sum
	}
	var seen, chance float64
	for _, u := range kept {
		for i, a := range u {
			for j, b := range u {
				if i != j {
					seen += between(a, b) / float64(len(u)-1)
				}
			}
		}
	}
	for i, a := range all {
		for j, b := range all {
			if i != j {
				chance += between(a, b)
			}
		}
	}
	return 1 - seen*float64(len(all)-1)/chance
}

// Whatever the bytes, a coefficient is a finite number or there is an error.
func FuzzCoefficients(f *testing.F) {
	f.Add([]byte{2, 9, 2, 5, 8, 6, 1, 3, 2, 8, 4, 6, 8})
	f.Add([]byte{1, 1, 0, 0, 1, 1, 1, 0, 0, 0})
	f.Add([]byte{3, 255, 1, 254, 1, 2, 3, 2, 2, 1})
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) < 3 || len(data) > 200 {
			return
		}
		k := 1 + int(data[0])%4
		var scores [][]float64
		var table, counts [][]int
		for at := 1; at+k <= len(data); at += k {
			var row []float64
			var count []int
			for _, b := range data[at : at+k] {
				v := float64(b)
				switch b {
				case 255:
					v = math.NaN()
				case 254:
					v = math.Inf(1)
				case 253:
					v = 1e90
				}
				row = append(row, v)
				count = append(count, int(b%5))
			}
			scores, counts = append(scores, row), append(counts, count)
			if len(table) < k {
				table = append(table, count)
			}
		}
		if c, err := Intraclass(scores, .95); err == nil {
			for _, x := range c.Coefficients {
				if !finite(x.Value, x.F, x.P, x.Low, x.High) || x.Value > 1+1e-12 || x.Low > x.High {
					t.Errorf("%v: %+v", scores, x)
				}
			}
		}
		for w := Unweighted; w <= Quadratic; w++ {
			if c, err := Cohen(table, w.Disagreements(k), .95); err == nil && (!finite(c.Value, c.Error, c.Z, c.P, c.Low, c.High) || c.Value > 1+1e-12) {
				t.Errorf("%v: %+v", table, c)
			}
		}
		if c, err := Fleiss(counts, .95); err == nil && (!finite(c.Value, c.Error, c.Z, c.P, c.Low, c.High) || c.Value > 1+1e-12) {
			t.Errorf("%v: %+v", counts, c)
		}
		if c, err := Incomplete(scores); err == nil && !finite(c.Absolute, c.Consistency) {
			t.Errorf("%v: %+v", scores, c)
		}
	})
}
