package casemix

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func readCSV(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, cell := range row {
			v, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
			if err != nil {
				t.Fatal(err)
			}
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

func example(t testing.TB) *Model {
	t.Helper()
	data, err := os.ReadFile("testdata/capsule-2009.yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := ParseModel("capsule-2009.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The five worked cases and two more of the reference: composite odds ratio and probability.
func TestPredictAgreesWithTheWorkedCases(t *testing.T) {
	var ref struct {
		N struct {
			Worked struct {
				Cases, More []struct {
					ID          string
					Composite   float64 `json:"composite_or"`
					Probability float64 `json:"probability_with_odds_baseline"`
				}
			}
		} `json:"narendran2009"`
	}
	readJSON(t, "cataract_pcr_risk.json", &ref)
	yes := func(names ...string) map[string]bool {
		m := map[string]bool{}
		for _, n := range names {
			m[n] = true
		}
		return m
	}
	cases := map[string]Case{
		"A":     {Present: yes("glaucoma"), Level: map[string]string{"age": "70-79", "pupil": "large", "surgeon": "consultant"}},
		"B":     {Level: map[string]string{"age": "under-60"}},
		"C":     {Present: yes("male", "pseudoexfoliation_or_phacodonesis", "axial_length_26_up"), Level: map[string]string{"age": "60-69", "pupil": "medium"}},
		"D":     {Present: yes("male", "brunescent_or_white", "no_fundal_view", "cannot_lie_flat", "doxazosin"), Level: map[string]string{"age": "90-up"}},
		"E":     {Present: yes("male", "glaucoma"), Level: map[string]string{"age": "80-89"}},
		"A-SHO": {Present: yes("glaucoma"), Level: map[string]string{"age": "70-79", "surgeon": "senior-house-officer"}},
		"max": {Present: yes("male", "glaucoma", "diabetic_retinopathy", "brunescent_or_white", "no_fundal_view", "pseudoexfoliation_or_phacodonesis", "axial_length_26_up", "doxazosin", "cannot_lie_flat"),
			Level: map[string]string{"age": "90-up", "pupil": "small", "surgeon": "senior-house-officer"}},
	}
	m := example(t)
	worked := append(ref.N.Worked.Cases, ref.N.Worked.More...)
	if len(worked) != len(cases) {
		t.Fatalf("%d worked cases in the reference", len(worked))
	}
	for _, e := range worked {
		p, err := m.Predict(cases[e.ID])
		if err != nil {
			t.Fatalf("%s: %v", e.ID, err)
		}
		if math.Abs(p.OddsRatio-e.Composite) > 1e-9 || math.Abs(p.Risk-e.Probability) > 1e-9 {
			t.Errorf("%s: odds ratio %.12g risk %.12g, want %.12g and %.12g", e.ID, p.OddsRatio, p.Risk, e.Composite, e.Probability)
		}
		for _, part := range p.Parts {
			if part.Source.Mark != "secondary" || part.Source.Ref == "" {
				t.Errorf("%s: %s has no origin", e.ID, part.Factor)
			}
		}
	}
	p, err := m.Predict(cases["E"])
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(p.Unsure, " "), "pupil") {
		t.Errorf("unsure %v does not name the pupil", p.Unsure)
	}
}

func TestPredictRefuses(t *testing.T) {
	m := example(t)
	for name, c := range map[string]Case{
		"unknown factor":  {Present: map[string]bool{"left_handed": true}},
		"wrong kind":      {Present: map[string]bool{"pupil": true}},
		"unknown level":   {Level: map[string]string{"pupil": "huge"}},
		"level of a flag": {Level: map[string]string{"male": "yes"}},
		"no measure":      {Measured: map[string]float64{"male": 1}},
	} {
		if p, err := m.Predict(c); err == nil {
			t.Errorf("%s: %v", name, p)
		}
	}
	measured, err := ParseModel("m.yaml", []byte(`{zonule: risk/1, id: m, outcome: o, use: u, baseline: {log_odds: -4, mark: assumed, ref: r}, factors: {length: {per_unit: 0.5, from: 23, mark: assumed, ref: r}}}`))
	if err != nil {
		t.Fatal(err)
	}
	p, err := measured.Predict(Case{Measured: map[string]float64{"length": 25}})
	if want := 1 / (1 + math.Exp(3)); err != nil || math.Abs(p.Risk-want) > 1e-15 {
		t.Errorf("risk %g, want %g (%v)", p.Risk, want, err)
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), 1e6} {
		if p, err := measured.Predict(Case{Measured: map[string]float64{"length": v}}); err == nil {
			t.Errorf("measure %g: %v", v, p)
		}
	}
}

// A model without origins, or with numbers that cannot be, is refused with the place.
func TestParseModelRefuses(t *testing.T) {
	good := `{zonule: risk/1, id: m, outcome: o, use: u, baseline: {odds: 0.01, mark: assumed, ref: r}, factors: {male: {odds_ratio: 1.3, mark: assumed, ref: r}}}`
	if _, err := ParseModel("m.yaml", []byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][3]string{
		{"risk/1", "risk/9", "no risk model"},
		{"odds_ratio: 1.3, mark: assumed, ref: r", "odds_ratio: 1.3, mark: assumed", "no ref"},
		{"odds_ratio: 1.3, mark: assumed", "odds_ratio: 1.3, mark: heard", "mark"},
		{"1.3", "-1.3", "cannot be"},
		{"1.3", ".nan", "cannot be"},
		{"odds_ratio: 1.3", "odds_ratio: 1.3, per_unit: 1", "exactly one kind"},
		{"odds_ratio: 1.3, ", "", "exactly one kind"},
		{"odds: 0.01, ", "", "odds or log_odds"},
		{"odds: 0.01", "odds: 0", "cannot be"},
		{"use: u", "use: ''", "use is missing"},
		{"odds_ratio", "oddsratio", "unknown"},
	} {
		_, err := ParseModel("m.yaml", []byte(strings.Replace(good, c[0], c[1], 1)))
		if err == nil || !strings.Contains(err.Error(), c[2]) || !strings.HasPrefix(err.Error(), "m.yaml:") {
			t.Errorf("%q for %q: %v", c[1], c[0], err)
		}
	}
}

// Every row of the funnel table: 1e-10 for the exact limits.
func TestFunnelAgreesWithTheReference(t *testing.T) {
	rows := readCSV(t, "funnel_limits.csv")
	if len(rows) < 28 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, r := range rows {
		l, err := Funnel(int(r["n"]), r["target"], r["two_sided_alpha"])
		if err != nil {
			t.Fatal(err)
		}
		for name, got := range map[string]float64{
			"lower_quantile": l.Low, "upper_quantile": l.High, "lower_interpolated": l.SmoothLow,
			"upper_interpolated": l.SmoothHigh, "lower_normal": l.NormalLow, "upper_normal": l.NormalHigh,
		} {
			if math.Abs(got-r[name]) > 1e-10 {
				t.Errorf("n %g target %g: %s %.13g, want %.13g", r["n"], r["target"], name, got, r[name])
			}
		}
	}
	for _, bad := range []struct {
		n             int
		target, alpha float64
	}{{0, .1, .05}, {10, 0, .05}, {10, 1, .05}, {10, .1, 0}, {10, math.NaN(), .05}} {
		if l, err := Funnel(bad.n, bad.target, bad.alpha); err == nil {
			t.Errorf("%+v: %v", bad, l)
		}
	}
}

func TestMoreIntervalsAgreeWithTheReference(t *testing.T) {
	for _, r := range readCSV(t, "intervals.csv") {
		for name, f := range map[string]func(int, int, float64) (Interval, error){"wilson_cc": WilsonCorrected, "agresti_coull": AgrestiCoull} {
			got, err := f(int(r["x"]), int(r["n"]), r["conf"])
			if err != nil || math.Abs(got.Low-r[name+"_lo"]) > 1e-8 || math.Abs(got.High-r[name+"_hi"]) > 1e-8 {
				t.Errorf("%s %g/%g: %.12g to %.12g, want %.12g to %.12g (%v)", name, r["x"], r["n"], got.Low, got.High, r[name+"_lo"], r[name+"_hi"], err)
			}
		}
	}
	var ref struct {
		D struct {
			Expected []struct {
				X1, N1, X2, N2     int
				Conf, Diff, Lo, Hi float64
			}
		} `json:"difference_newcombe_method10"`
	}
	readJSON(t, "proportions.json", &ref)
	if len(ref.D.Expected) < 6 {
		t.Fatal("no differences in the reference")
	}
	for _, e := range ref.D.Expected {
		d, i, err := Difference(e.X1, e.N1, e.X2, e.N2, e.Conf)
		if err != nil || math.Abs(d-e.Diff) > 1e-12 || math.Abs(i.Low-e.Lo) > 1e-8 || math.Abs(i.High-e.Hi) > 1e-8 {
			t.Errorf("%+v: %g, %v (%v)", e, d, i, err)
		}
	}
	if _, _, err := Difference(1, 0, 1, 2, .95); err == nil {
		t.Error("no cases made a difference")
	}
}

func TestCompareAgreesWithTheReference(t *testing.T) {
	var ref struct {
		OE []struct {
			Observed              int
			Expected, Conf, Ratio float64
			ExactLo               float64 `json:"exact_lo"`
			ExactHi               float64 `json:"exact_hi"`
			ByarLo                float64 `json:"byar_lo"`
			ByarHi                float64 `json:"byar_hi"`
		} `json:"observed_expected"`
	}
	readJSON(t, "logistic.json", &ref)
	if len(ref.OE) < 5 {
		t.Fatal("no comparisons in the reference")
	}
	for _, e := range ref.OE {
		c, err := Compare(e.Observed, e.Expected, e.Conf)
		if err != nil {
			t.Fatal(err)
		}
		for name, v := range map[string][2]float64{
			"ratio": {c.Ratio, e.Ratio}, "exact low": {c.Exact.Low, e.ExactLo}, "exact high": {c.Exact.High, e.ExactHi},
			"Byar low": {c.Byar.Low, e.ByarLo}, "Byar high": {c.Byar.High, e.ByarHi},
		} {
			if math.Abs(v[0]-v[1]) > 1e-9*math.Max(1, v[1]) {
				t.Errorf("%d of %g: %s %.12g, want %.12g", e.Observed, e.Expected, name, v[0], v[1])
			}
		}
	}
	for _, bad := range []struct {
		o    int
		e, l float64
	}{{-1, 1, .95}, {1, 0, .95}, {1, math.NaN(), .95}, {1, 1, 1}, {1, math.Inf(1), .95}} {
		if c, err := Compare(bad.o, bad.e, bad.l); err == nil {
			t.Errorf("%+v: %v", bad, c)
		}
	}
	if _, err := Expected([]float64{.1, 1.2}); err == nil {
		t.Error("a risk of 1.2")
	}
}

func FuzzParseModel(f *testing.F) {
	f.Add([]byte(`{zonule: risk/1, id: m, outcome: o, use: u, baseline: {odds: 0.01, mark: assumed, ref: r}, factors: {male: {odds_ratio: 1.3, mark: assumed, ref: r}}}`), 1.5)
	f.Add([]byte("zonule: risk/1\nfactors:\n  a: {per_unit: 1e9}\n"), math.NaN())
	f.Fuzz(func(t *testing.T, data []byte, v float64) {
		m, err := ParseModel("m.yaml", data)
		if err != nil {
			return
		}
		c := Case{Present: map[string]bool{}, Level: map[string]string{}, Measured: map[string]float64{}}
		for _, f := range m.Factors {
			switch {
			case f.Levels != nil:
				for _, l := range keys(f.Levels) {
					c.Level[f.Name] = l
				}
			case f.PerUnit != 0:
				c.Measured[f.Name] = v
			default:
				c.Present[f.Name] = true
			}
		}
		if p, err := m.Predict(c); err == nil && !(p.Risk >= 0 && p.Risk <= 1) {
			t.Errorf("risk %g", p.Risk)
		}
	})
}
