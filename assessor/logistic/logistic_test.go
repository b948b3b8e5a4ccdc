package logistic

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func birthwt(t testing.TB) ([][]float64, []bool) {
	t.Helper()
	f, err := os.Open("../../testdata/statistics/birthwt.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var x [][]float64
	var y []bool
	for _, row := range rows[1:] {
		var v []float64
		for _, cell := range row {
			n, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, n)
		}
		x, y = append(x, v[1:]), append(y, v[0] == 1)
	}
	return x, y
}

type reference struct {
	Cases []struct {
		Expected struct {
			Coefficients []struct {
				Estimate, SE float64
				Low          float64 `json:"profile_lo"`
				High         float64 `json:"profile_hi"`
				OddsLow      float64 `json:"or_wald_lo"`
				OddsHigh     float64 `json:"or_wald_hi"`
			}
			Vcov          [][]float64
			LogLik        float64
			Deviance, AIC float64
			Null          float64 `json:"null_deviance"`
			C             float64 `json:"c_statistic"`
			Brier         float64
			HL            struct {
				Statistic, P float64
				DF           int
			} `json:"hosmer_lemeshow"`
		}
	}
}

// R's glm on 189 births: coefficients and errors 1e-6 relative, profile intervals 1e-3, and the
// measures of quality.
func TestFitAgreesWithR(t *testing.T) {
	data, err := os.ReadFile("../../testdata/statistics/logistic.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref reference
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	want := ref.Cases[0].Expected
	m, err := Fit(birthwt(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(want.Coefficients) != 8 || len(m.Coefficients) != 8 {
		t.Fatalf("%d coefficients, %d in the reference", len(m.Coefficients), len(want.Coefficients))
	}
	for j, e := range want.Coefficients {
		near(t, "coefficient", m.Coefficients[j], e.Estimate, 1e-8)
		near(t, "error", m.Errors[j], e.SE, 1e-8)
		low, high, err := m.Profile(j, .95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(low-e.Low) > 1e-3*e.SE || math.Abs(high-e.High) > 1e-3*e.SE {
			t.Errorf("profile of %d: %g to %g, want %g to %g", j, low, high, e.Low, e.High)
		}
		low, high, err = m.Wald(j, .95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Wald low", math.Exp(low), e.OddsLow, 1e-7)
		near(t, "Wald high", math.Exp(high), e.OddsHigh, 1e-7)
		for k := range want.Vcov[j] {
			near(t, "covariance", m.Covariance[j][k], want.Vcov[j][k], 1e-6)
		}
	}
	near(t, "log likelihood", m.LogLik, want.LogLik, 1e-11)
	near(t, "deviance", m.Deviance, want.Deviance, 1e-11)
	near(t, "null deviance", m.NullDeviance, want.Null, 1e-11)
	near(t, "AIC", m.AIC, want.AIC, 1e-11)
	c, err := Discrimination(m.Fitted, m.y)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "c", c, want.C, 1e-12)
	b, err := Brier(m.Fitted, m.y)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Brier", b, want.Brier, 1e-9)
	hl, err := HosmerLemeshow(m.Fitted, m.y, 10)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(hl.Statistic-want.HL.Statistic) > 1e-5 || hl.DF != want.HL.DF || math.Abs(hl.P-want.HL.P) > 1e-6 {
		t.Errorf("calibration %+v, want %+v", hl, want.HL)
	}
	if p := m.Probability(m.x[3][1:]); p != m.Fitted[3] {
		t.Errorf("probability %g, fitted %g", p, m.Fitted[3])
	}
}

func TestNothingToFitIsAnError(t *testing.T) {
	up := [][]float64{{1}, {2}, {3}, {4}, {5}, {6}}
	few := errors.New("too few")
	for name, c := range map[string]struct {
		x    [][]float64
		y    []bool
		want error
	}{
		"separated":   {up, []bool{false, false, false, true, true, true}, ErrSeparated},
		"in part":     {[][]float64{{0}, {0}, {0}, {1}, {1}, {1}}, []bool{false, true, true, true, true, true}, ErrSeparated},
		"constant":    {[][]float64{{1}, {1}, {1}, {1}}, []bool{true, false, true, false}, ErrAliased},
		"zero":        {[][]float64{{0}, {0}, {0}, {0}}, []bool{true, false, true, false}, ErrAliased},
		"twice":       {[][]float64{{1, 2}, {2, 4}, {3, 6}, {4, 8}, {5, 10}}, []bool{true, false, true, false, true}, ErrAliased},
		"huge units":  {[][]float64{{1e80}, {2e80}, {3e80}, {4e80}}, []bool{true, false, true, false}, nil},
		"one outcome": {up, make([]bool, 6), few},
		"too few":     {up[:2], []bool{true, false}, few},
		"nothing":     {nil, nil, few},
	} {
		m, err := Fit(c.x, c.y)
		switch {
		case c.want == nil && err != nil, c.want != nil && err == nil:
			t.Errorf("%s: %v, %v", name, m, err)
		case c.want == few:
			var too *TooFew
			if !errors.As(err, &too) || too.More < 1 || !strings.HasPrefix(err.Error(), "not enough yet: ") {
				t.Errorf("%s: %v", name, err)
			}
		case c.want != nil && !errors.Is(err, c.want):
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, bad := range [][][]float64{{{1}, {2, 3}, {4}}, {{math.NaN()}, {1}, {2}}, {{math.Inf(1)}, {1}, {2}}, {{1e101}, {1}, {2}}, {{1}}} {
		if m, err := Fit(bad, []bool{true, false, true}); err == nil {
			t.Errorf("%v fitted: %v", bad, m)
		}
	}
}

// Clustered errors: with every observation its own group they are near the model's; with each
// observation written ten times into one group they are those of the single copy, not a third.
func TestClusteredErrors(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var x, x10 [][]float64
	var y, y10 []bool
	var own, ten []string
	for i := range 400 {
		v := random.NormFloat64()
		met := random.Float64() < probability(.3+.8*v)
		x, y, own = append(x, []float64{v}), append(y, met), append(own, strconv.Itoa(i))
		for range 10 {
			x10, y10, ten = append(x10, []float64{v}), append(y10, met), append(ten, strconv.Itoa(i))
		}
	}
	one, err := Fit(x, y)
	if err != nil {
		t.Fatal(err)
	}
	cov, err := one.Clustered(own)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "own groups", math.Sqrt(cov[1][1]), one.Errors[1], .1)
	copies, err := Fit(x10, y10)
	if err != nil {
		t.Fatal(err)
	}
	cov10, err := copies.Clustered(ten)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "copies", cov10[1][1], cov[1][1], 1e-9)
	if copies.Errors[1] > .4*one.Errors[1] {
		t.Error("copies should have looked more certain than they are")
	}
	if _, err := one.Clustered(own[:3]); err == nil {
		t.Error("too few groups named")
	}
	if _, err := one.Clustered(make([]string, 400)); err == nil {
		t.Error("one group gave an error estimate")
	}
}

// Intervals cover the truth about as often as they say (fixed seed).
func TestIntervalsCover(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	const runs = 500
	wald, profile, fitted := 0, 0, 0
	for range runs {
		var x [][]float64
		var y []bool
		for range 60 {
			v := random.NormFloat64()
			x, y = append(x, []float64{v}), append(y, random.Float64() < probability(-.5+v))
		}
		m, err := Fit(x, y)
		if err != nil {
			continue
		}
		fitted++
		if low, high, _ := m.Wald(1, .95); low <= 1 && 1 <= high {
			wald++
		}
		if low, high, err := m.Profile(1, .95); err == nil && low <= 1 && 1 <= high {
			profile++
		}
	}
	if r := float64(profile) / float64(fitted); fitted < runs*98/100 || r < .92 || r > .98 {
		t.Errorf("profile intervals cover %.3f of %d", r, fitted)
	}
	t.Logf("of %d: Wald covers %d, profile %d", fitted, wald, profile)
}

func FuzzFit(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8}, uint8(2))
	f.Add([]byte{0, 0, 0, 0, 1, 1, 1, 1, 255, 254}, uint8(1))
	f.Fuzz(func(t *testing.T, data []byte, width uint8) {
		w := int(width%4) + 1
		var x [][]float64
		var y []bool
		for len(data) > w && len(x) < 50 {
			var row []float64
			for _, b := range data[:w] {
				row = append(row, float64(int8(b))*math.Pow(10, float64(b%7)-3))
			}
			x, y = append(x, row), append(y, data[w]%2 == 1)
			data = data[w+1:]
		}
		m, err := Fit(x, y)
		if err != nil {
			return
		}
		for j, c := range m.Coefficients {
			if math.IsNaN(c) || math.IsInf(c, 0) || !(m.Errors[j] > 0) || math.IsInf(m.Errors[j], 0) {
				t.Errorf("coefficient %g with error %g", c, m.Errors[j])
			}
		}
	})
}

func BenchmarkFit(b *testing.B) {
	x, y := birthwt(b)
	for b.Loop() {
		if _, err := Fit(x, y); err != nil {
			b.Fatal(err)
		}
	}
}
