package cusum

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Every average run length and probability of the reference: 1e-8 relative asked, an exact chain.
func TestBernoulliAgreesWithTheReference(t *testing.T) {
	var ref struct {
		Expected []struct {
			Case         string
			P0, P1, H    float64
			Failure      float64 `json:"score_failure"`
			Success      float64 `json:"score_success"`
			Rate         float64 `json:"true_failure_rate"`
			ARL          float64 `json:"arl_exact"`
			Within50     float64 `json:"prob_signal_within_50"`
			Within100    float64 `json:"prob_signal_within_100"`
			Simulated    float64 `json:"arl_sim_truncated_mean"`
			SimulatedErr float64 `json:"sim_se"`
		}
	}
	read(t, "bernoulli_cusum_arl.json", &ref)
	if len(ref.Expected) < 9 {
		t.Fatalf("%d reference rows", len(ref.Expected))
	}
	for _, e := range ref.Expected {
		b, err := NewBernoulli(e.P0, e.P1, e.H, 100)
		if err != nil {
			t.Fatal(err)
		}
		failure, success := b.Weights()
		if math.Abs(failure-e.Failure) > 1e-14 || math.Abs(success-e.Success) > 1e-14 {
			t.Errorf("%s: weights %g, %g", e.Case, failure, success)
		}
		if got := b.ARL(e.Rate); math.Abs(got/e.ARL-1) > 1e-8 {
			t.Errorf("%s rate %g: ARL %.12g, want %.12g", e.Case, e.Rate, got, e.ARL)
		}
		if got := b.Within(e.Rate, 50); math.Abs(got/e.Within50-1) > 1e-8 {
			t.Errorf("%s rate %g within 50: %.12g, want %.12g", e.Case, e.Rate, got, e.Within50)
		}
		if got := b.Within(e.Rate, 100); math.Abs(got/e.Within100-1) > 1e-8 {
			t.Errorf("%s rate %g within 100: %.12g, want %.12g", e.Case, e.Rate, got, e.Within100)
		}
	}
}

// The probabilities of a found limit are met by the chart itself over simulated series.
func TestBernoulliLimitHoldsInSimulation(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	for _, d := range []struct {
		p0, p1 float64
		n      int
		alpha  float64
	}{{.05, .10, 100, .05}, {.10, .25, 50, .10}, {.02, .06, 200, .05}} {
		b, err := LimitBernoulli(d.p0, d.p1, d.n, d.alpha)
		if err != nil {
			t.Fatal(err)
		}
		if b.FalseSignal > d.alpha {
			t.Errorf("%v is over the stated %g", b, d.alpha)
		}
		lower, err := NewBernoulli(d.p0, d.p1, b.H-Step, d.n)
		if err != nil || lower.FalseSignal <= d.alpha {
			t.Errorf("a lower limit would do: %v, %v", lower, err)
		}
		const runs = 20_000
		signals := 0
		series := make([]bool, d.n)
		for range runs {
			for i := range series {
				series[i] = random.Float64() < d.p0
			}
			if b.Follow(series).Signal > 0 {
				signals++
			}
		}
		got := float64(signals) / runs
		if se := math.Sqrt(b.FalseSignal * (1 - b.FalseSignal) / runs); math.Abs(got-b.FalseSignal) > 4*se {
			t.Errorf("%v: simulated %.4f", b, got)
		}
	}
}

func TestBernoulliRefuses(t *testing.T) {
	for _, c := range []struct {
		p0, p1, h float64
		n         int
	}{{.1, .1, 1, 10}, {.2, .1, 1, 10}, {0, .1, 1, 10}, {.1, 1, 1, 10}, {.1, .2, 0, 10}, {.1, .2, math.Inf(1), 10}, {.1, .2, 1, 0}, {math.NaN(), .2, 1, 5}} {
		if got, err := NewBernoulli(c.p0, c.p1, c.h, c.n); err == nil {
			t.Errorf("accepted %+v: %v", c, got)
		}
	}
	if got, err := LimitBernoulli(.5, .6, 2, .05); err == nil {
		t.Errorf("two outcomes made a limit: %v", got)
	}
	b, err := NewBernoulli(.1, .2, 2, 10)
	if err != nil {
		t.Fatal(err)
	}
	if got := b.ARL(0); !math.IsInf(got, 1) {
		t.Errorf("no failure ever signals after %g", got)
	}
	if !math.IsNaN(b.ARL(-1)) {
		t.Error("a rate below 0 gave a number")
	}
}

func BenchmarkBernoulliLimit(b *testing.B) {
	for b.Loop() {
		if _, err := LimitBernoulli(.02, .05, 200, .05); err != nil {
			b.Fatal(err)
		}
	}
}
