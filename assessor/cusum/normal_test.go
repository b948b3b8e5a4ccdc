package cusum

import (
	"math"
	"math/rand/v2"
	"testing"
)

type normalReference struct {
	Expected struct {
		ARL []struct {
			K, H, HeadStart, Shift float64
			One                    float64 `json:"arl_one_sided"`
			Two                    float64 `json:"arl_two_sided"`
		}
		Critical []struct {
			K      float64
			Target float64 `json:"arl0_target"`
			One    float64 `json:"h_one_sided"`
			Two    float64 `json:"h_two_sided"`
		} `json:"critical_h"`
	}
	Published struct {
		Table []struct{ Shift, H4, H5 float64 }
	} `json:"published_cross_check"`
}

// Every run length and critical limit of the reference (asked: 1e-6 relative).
func TestNormalAgreesWithTheReference(t *testing.T) {
	var ref normalReference
	read(t, "cusum_normal_arl.json", &ref)
	if len(ref.Expected.ARL) < 30 || len(ref.Expected.Critical) < 2 {
		t.Fatalf("%d run lengths, %d limits", len(ref.Expected.ARL), len(ref.Expected.Critical))
	}
	for _, e := range ref.Expected.ARL {
		for _, side := range []struct {
			two  bool
			want float64
		}{{false, e.One}, {true, e.Two}} {
			got, err := Normal{e.K, e.H, e.HeadStart, side.two}.ARL(e.Shift)
			if err != nil || math.Abs(got/side.want-1) > 1e-9 {
				t.Errorf("h %g head start %g shift %g two-sided %v: got %.12g, want %.12g (%v)", e.H, e.HeadStart, e.Shift, side.two, got, side.want, err)
			}
		}
	}
	for _, e := range ref.Expected.Critical {
		one, err1 := LimitNormalARL(e.K, false, e.Target)
		two, err2 := LimitNormalARL(e.K, true, e.Target)
		if err1 != nil || err2 != nil || math.Abs(one.H/e.One-1) > 1e-8 || math.Abs(two.H/e.Two-1) > 1e-8 {
			t.Errorf("target %g: h %.12g and %.12g, want %.12g and %.12g (%v, %v)", e.Target, one.H, two.H, e.One, e.Two, err1, err2)
		}
	}
}

// The printed table (quoted from memory in the file), to its printed digits.
func TestNormalAgreesWithThePrintedTable(t *testing.T) {
	var ref normalReference
	read(t, "cusum_normal_arl.json", &ref)
	if len(ref.Published.Table) < 10 {
		t.Fatal("no printed table")
	}
	for _, row := range ref.Published.Table {
		for h, want := range map[float64]float64{4: row.H4, 5: row.H5} {
			got, err := Normal{K: .5, H: h, TwoSided: true}.ARL(row.Shift)
			half := math.Pow(10, math.Floor(math.Log10(want))-2) / 2
			if err != nil || math.Abs(got-want) > half*1.001 {
				t.Errorf("shift %g h %g: got %g, printed %g (%v)", row.Shift, h, got, want, err)
			}
		}
	}
}

// Probabilities within n against simulation, and against the run length by summing survivors.
func TestNormalWithin(t *testing.T) {
	c := Normal{K: .5, H: 3}
	alive, err := c.arm(.5).survivors(0, 2000)
	if err != nil {
		t.Fatal(err)
	}
	sum := 1.0
	for _, p := range alive {
		sum += p
	}
	if arl, _ := c.ARL(.5); math.Abs(sum/arl-1) > 1e-9 {
		t.Errorf("survivors add up to %.12g, the run length is %.12g", sum, arl)
	}
	random := rand.New(rand.NewPCG(31, 32))
	two := Normal{K: .5, H: 4, TwoSided: true}
	const runs, n = 20_000, 60
	signals := 0
	x := make([]float64, n)
	for range runs {
		for i := range x {
			x[i] = random.NormFloat64()
		}
		_, _, at, err := two.Follow(x)
		if err != nil {
			t.Fatal(err)
		}
		if at > 0 {
			signals++
		}
	}
	want, err := two.Within(0, n)
	if err != nil {
		t.Fatal(err)
	}
	got := float64(signals) / runs
	if se := math.Sqrt(want / runs); got > want+4*se || got < want-want*want/2-4*se {
		t.Errorf("simulated %.4f, computed bound %.4f", got, want)
	}
}

func TestNormalLimits(t *testing.T) {
	for _, two := range []bool{false, true} {
		c, err := LimitNormal(.5, two, 50, .05)
		if err != nil {
			t.Fatal(err)
		}
		if p, _ := c.Within(0, 50); math.Abs(p-.05) > 1e-9 {
			t.Errorf("two-sided %v: limit %g has probability %.12g", two, c.H, p)
		}
	}
	for _, bad := range []float64{0, 1, -1, math.NaN()} {
		if c, err := LimitNormal(.5, false, 50, bad); err == nil {
			t.Errorf("probability %g made %v", bad, c)
		}
	}
	if c, err := LimitNormalARL(.5, true, 1); err == nil {
		t.Errorf("run length 1 made %v", c)
	}
	if c, err := LimitNormal(.25, false, 500, 1e-6); err != nil {
		t.Error(err)
	} else if p, _ := c.Within(0, 500); math.Abs(p-1e-6) > 1e-10 {
		t.Errorf("limit %v has probability %g", c, p)
	}
}

func TestNormalRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []Normal{{K: -1, H: 4}, {K: .5, H: 0}, {K: .5, H: 4, HeadStart: 4}, {K: nan, H: 4}, {K: .5, H: nan}, {K: .5, H: math.Inf(1)}, {K: .5, H: 1e9}} {
		if got, err := c.ARL(0); err == nil {
			t.Errorf("%+v gave %g", c, got)
		}
	}
	if got, err := (Normal{K: .5, H: 4}).ARL(nan); err == nil {
		t.Errorf("shift NaN gave %g", got)
	}
	if _, err := (Normal{K: .5, H: 4}).Within(0, 0); err == nil {
		t.Error("within no measures")
	}
	if _, _, _, err := (Normal{K: .5, H: 4}).Follow([]float64{1, nan}); err == nil {
		t.Error("followed NaN")
	}
	// So far on target that it can hardly signal: an error, not a wrong number.
	if got, err := (Normal{K: 3, H: 8}).ARL(0); err == nil {
		t.Errorf("gave %g", got)
	}
}

// The reference's run lengths: fixed limits 1e-6, varying limits 1e-7 relative.
func TestEWMAAgreesWithTheReference(t *testing.T) {
	var ref struct {
		Expected []struct {
			Lambda, L, Shift float64
			Fixed            float64 `json:"arl_fixed_limits"`
			Varying          float64 `json:"arl_varying_limits"`
		}
	}
	read(t, "ewma_arl.json", &ref)
	if len(ref.Expected) < 50 {
		t.Fatalf("%d reference rows", len(ref.Expected))
	}
	for _, e := range ref.Expected {
		fixed, err := EWMA{Lambda: e.Lambda, L: e.L}.ARL(e.Shift)
		if err != nil || math.Abs(fixed/e.Fixed-1) > 1e-9 {
			t.Errorf("lambda %g shift %g: got %.12g, want %.12g (%v)", e.Lambda, e.Shift, fixed, e.Fixed, err)
		}
		varying, err := EWMA{Lambda: e.Lambda, L: e.L, Varying: true}.ARL(e.Shift)
		if err != nil || math.Abs(varying/e.Varying-1) > 1e-7 {
			t.Errorf("lambda %g shift %g varying: got %.12g, want %.12g (%v)", e.Lambda, e.Shift, varying, e.Varying, err)
		}
	}
}

func TestEWMAWithin(t *testing.T) {
	random := rand.New(rand.NewPCG(41, 42))
	const runs, n = 20_000, 40
	for _, varying := range []bool{false, true} {
		c, err := LimitEWMA(.2, varying, n, .05)
		if err != nil {
			t.Fatal(err)
		}
		if p, _ := c.Within(0, n); math.Abs(p-.05) > 1e-9 {
			t.Errorf("%+v has probability %.12g", c, p)
		}
		signals := 0
		x := make([]float64, n)
		for range runs {
			for i := range x {
				x[i] = random.NormFloat64()
			}
			_, at, err := c.Follow(x)
			if err != nil {
				t.Fatal(err)
			}
			if at > 0 {
				signals++
			}
		}
		if got := float64(signals) / runs; math.Abs(got-.05) > 4*math.Sqrt(.05*.95/runs) {
			t.Errorf("%+v: simulated %.4f", c, got)
		}
	}
	// With weight 1 the chart is Shewhart's: 2.7 in a thousand outside three deviations.
	arl, err := EWMA{Lambda: 1, L: 3}.ARL(0)
	if err != nil || math.Abs(arl-370.3983473) > 1e-6 {
		t.Errorf("Shewhart run length %.10g (%v)", arl, err)
	}
	for _, bad := range []EWMA{{Lambda: 0, L: 3}, {Lambda: 1.1, L: 3}, {Lambda: .2, L: 0}, {Lambda: .2, L: math.NaN()}, {Lambda: .005, L: 1e6}} {
		if got, err := bad.ARL(0); err == nil {
			t.Errorf("%+v gave %g", bad, got)
		}
	}
}

func BenchmarkNormalLimit(b *testing.B) {
	for b.Loop() {
		if _, err := LimitNormalARL(.5, true, 370.4); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEWMALimit(b *testing.B) {
	for b.Loop() {
		if _, err := LimitEWMA(.1, true, 50, .05); err != nil {
			b.Fatal(err)
		}
	}
}
