package cusum

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The stated false- and true-signal probabilities of ten learning-curve charts are met by the
// chart itself over simulated trainees, within four Monte Carlo standard errors (fixed seed).
func TestLimitsHoldInSimulation(t *testing.T) {
	random := rand.New(rand.NewPCG(71, 72))
	const runs = 20_000
	for _, d := range []struct {
		p0, p1 float64
		n      int
		alpha  float64
	}{
		{.05, .15, 60, .05}, {.05, .20, 40, .05}, {.10, .20, 80, .05}, {.10, .25, 50, .05}, {.10, .30, 30, .10},
		{.15, .30, 60, .05}, {.15, .40, 30, .05}, {.20, .40, 40, .10}, {.25, .50, 25, .05}, {.30, .60, 20, .05},
	} {
		c, err := Limit(d.p0, d.p1, d.n, d.alpha)
		if err != nil {
			t.Fatal(err)
		}
		if c.FalseSignal > d.alpha {
			t.Errorf("%v: over the stated %g", c, d.alpha)
		}
		series := make([]bool, d.n)
		for _, side := range []struct {
			rate, stated float64
		}{{d.p1, c.FalseSignal}, {d.p0, c.TrueSignal}} {
			signals := 0
			for range runs {
				for i := range series {
					series[i] = random.Float64() < side.rate
				}
				if c.Follow(series).Signal > 0 {
					signals++
				}
			}
			got := float64(signals) / runs
			se := math.Sqrt(side.stated * (1 - side.stated) / runs)
			if math.Abs(got-side.stated) > 4*se {
				t.Errorf("p0 %g p1 %g within %d at rate %g: stated %.4f, simulated %.4f (standard error %.4f)", d.p0, d.p1, d.n, side.rate, side.stated, got, se)
			}
			t.Logf("p0 %.2f p1 %.2f N %d limit %.2f rate %.2f: stated %.4f, simulated %.4f", d.p0, d.p1, d.n, c.H, side.rate, side.stated, got)
		}
	}
}

// No input, however odd, makes a chart panic or show a number that is none.
func FuzzCharts(f *testing.F) {
	f.Add(.1, .25, 1.25, .5, 50)
	f.Add(0., 1., math.Inf(1), math.NaN(), -3)
	f.Add(.4999, .5, .01, 4., 1)
	f.Fuzz(func(t *testing.T, a, b, h, x float64, n int) {
		n %= 60
		p := func(what string, v float64, err error) {
			if err == nil && !(v >= 0 && v <= 1) {
				t.Errorf("%s gave %g for %g %g %g %g %d", what, v, a, b, h, x, n)
			}
		}
		if c, err := New(a, b, h, n); err == nil {
			p("learning curve", c.FalseSignal, nil)
			p("learning curve", c.TrueSignal, nil)
		}
		if c, err := NewBernoulli(a, b, h, n); err == nil {
			p("Bernoulli", c.FalseSignal, nil)
			p("Bernoulli", c.TrueSignal, nil)
		}
		if h < 8 {
			v, err := Normal{K: a, H: h, HeadStart: b, TwoSided: n%2 == 0}.Within(x, n)
			p("normal", v, err)
			v, err = EWMA{Lambda: a, L: h, Varying: n%2 == 0}.Within(x, min(n, 10))
			p("EWMA", v, err)
		}
		v, err := RiskAdjusted{Null: a, Alternative: b, H: h}.Within(Mix{{.1, 1}}, x, min(n, 10))
		p("risk-adjusted", v, err)
		if t1, err := (RiskAdjusted{Null: a, Alternative: b, H: h}).Follow([]float64{x, .1}, []bool{true, false}); err == nil {
			for _, s := range t1.Scores {
				if math.IsNaN(s) {
					t.Errorf("score %g", s)
				}
			}
		}
	})
}
