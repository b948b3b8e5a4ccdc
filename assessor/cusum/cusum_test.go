package cusum

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

func read(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

type runLengths struct {
	Expected []struct {
		ID     string
		Inputs struct {
			P0 float64 `json:"p0_adequate"`
			P1 float64 `json:"p1_inadequate"`
			H  float64 `json:"h"`
		}
		Success float64 `json:"score_success"`
		Failure float64 `json:"score_failure"`
		Least   int     `json:"min_successes_in_a_row_to_signal"`
		Results []struct {
			Rate      float64 `json:"true_failure_rate"`
			N         int     `json:"n"`
			Within    float64 `json:"prob_signal_within_n_exact"`
			Simulated float64 `json:"prob_signal_within_n_simulated"`
			Spread    float64 `json:"sim_standard_error"`
			ARL       float64 `json:"zero_state_arl_exact"`
		}
	}
	Design struct {
		Cases []struct {
			P0, P1, Alpha float64
			N             int
			H             float64 `json:"h_smallest_on_grid_0.01"`
			False         float64 `json:"false_discovery_at_h"`
			FalseBelow    float64 `json:"false_discovery_at_h_minus_0.01"`
			True          float64 `json:"true_discovery_at_h"`
		}
	} `json:"threshold_design"`
}

// Every probability and run length of the reference, to its stated tolerance: 1e-9 absolute and
// 1e-8 relative; and against its million simulated runs, to five of their standard errors.
func TestRunLengthsAgreeWithTheReference(t *testing.T) {
	var ref runLengths
	read(t, "lc_cusum.json", &ref)
	seen := 0
	for _, e := range ref.Expected {
		c, err := New(e.Inputs.P0, e.Inputs.P1, e.Inputs.H, 50)
		if err != nil {
			t.Fatal(err)
		}
		success, failure := c.Weights()
		if math.Abs(success-e.Success) > 1e-14 || math.Abs(failure-e.Failure) > 1e-14 {
			t.Errorf("%s: weights %g, %g", e.ID, success, failure)
		}
		if got := c.SuccessesToSignal(); got != e.Least {
			t.Errorf("%s: %d successes in a row signal, want %d", e.ID, got, e.Least)
		}
		for _, r := range e.Results {
			seen++
			got := c.Within(r.Rate, r.N)
			if math.Abs(got-r.Within) > 1e-9 {
				t.Errorf("%s rate %g within %d: got %.12f, want %.12f", e.ID, r.Rate, r.N, got, r.Within)
			}
			if math.Abs(got-r.Simulated) > 5*r.Spread+2e-6 {
				t.Errorf("%s rate %g within %d: got %.6f, simulated %.6f", e.ID, r.Rate, r.N, got, r.Simulated)
			}
			if arl := c.ARL(r.Rate); math.Abs(arl/r.ARL-1) > 1e-8 {
				t.Errorf("%s rate %g: ARL %.12g, want %.12g", e.ID, r.Rate, arl, r.ARL)
			}
		}
	}
	if seen < 40 {
		t.Errorf("only %d reference results were read", seen)
	}
}

func TestLimitAgreesWithTheReference(t *testing.T) {
	var ref runLengths
	read(t, "lc_cusum.json", &ref)
	if len(ref.Design.Cases) == 0 {
		t.Fatal("no designs in the reference")
	}
	for _, d := range ref.Design.Cases {
		c, err := Limit(d.P0, d.P1, d.N, d.Alpha)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(c.H-d.H) > 1e-9 || math.Abs(c.FalseSignal-d.False) > 1e-9 || math.Abs(c.TrueSignal-d.True) > 1e-9 {
			t.Errorf("got %v, want h %g false %g true %g", c, d.H, d.False, d.True)
		}
		below, err := New(d.P0, d.P1, c.H-Step, d.N)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(below.FalseSignal-d.FalseBelow) > 1e-9 {
			t.Errorf("one step lower: %v, want false %g", below, d.FalseBelow)
		}
	}
}

func TestFollowAgreesWithTheReference(t *testing.T) {
	var ref struct {
		Cases []struct {
			Inputs struct {
				P0, P1, H float64
				Failure   []int
			}
			Expected struct {
				S     []float64
				First int `json:"first_signal"`
			}
		}
	}
	read(t, "lc_cusum_traces.json", &ref)
	if len(ref.Cases) == 0 {
		t.Fatal("no traces in the reference")
	}
	for i, e := range ref.Cases {
		c, err := New(e.Inputs.P0, e.Inputs.P1, e.Inputs.H, 50)
		if err != nil {
			t.Fatal(err)
		}
		failures := make([]bool, len(e.Inputs.Failure))
		for t, f := range e.Inputs.Failure {
			failures[t] = f == 1
		}
		got := c.Follow(failures)
		if got.Signal != e.Expected.First || len(got.Scores) != len(e.Expected.S) {
			t.Fatalf("trace %d: signal at %d of %d, want %d of %d", i, got.Signal, len(got.Scores), e.Expected.First, len(e.Expected.S))
		}
		for k, s := range got.Scores {
			if math.Abs(s-e.Expected.S[k]) > 1e-12 {
				t.Fatalf("trace %d drill %d: score %.15f, want %.15f", i, k+1, s, e.Expected.S[k])
			}
		}
	}
}

// The probabilities are those of the chart itself: over all 2^n series of outcomes, weighted, the
// first signals of Follow are the numbers of Signals. No reference is needed for this one.
func TestSignalsCountEverySeries(t *testing.T) {
	const n = 12
	for _, c := range []Chart{{Adequate: .1, Inadequate: .4, H: .9, Drills: n}, {Adequate: .3, Inadequate: .6, H: 1.3, Drills: n}, {Adequate: .25, Inadequate: .5, H: 3 * math.Log(1.5), Drills: n}} {
		for _, rate := range []float64{0, .2, .5, .9, 1} {
			want := make([]float64, n)
			for series := range 1 << n {
				weight := 1.0
				failures := make([]bool, n)
				for k := range failures {
					if failures[k] = series>>k&1 == 1; failures[k] {
						weight *= rate
					} else {
						weight *= 1 - rate
					}
				}
				if at := c.Follow(failures).Signal; at > 0 {
					want[at-1] += weight
				}
			}
			for k, got := range c.Signals(rate, n) {
				if math.Abs(got-want[k]) > 1e-13 {
					t.Errorf("%v rate %g: first signal at %d with %g, counted %g", c, rate, k+1, got, want[k])
				}
			}
		}
	}
}

// What must be true of any chart: more drills never make a signal less likely, a higher limit
// never more likely, a lower failure rate never less likely.
func TestSignalsAreMonotone(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	for range 200 {
		p0 := 0.02 + 0.3*random.Float64()
		p1 := p0 + 0.02 + 0.4*random.Float64()
		h := 0.2 + 4*random.Float64()
		n := 1 + random.IntN(80)
		c, err := New(p0, p1, h, n)
		if err != nil {
			t.Fatal(err)
		}
		higher, _ := New(p0, p1, h*1.1, n)
		const slack = 1e-12
		switch {
		case c.TrueSignal < c.FalseSignal-slack:
			t.Errorf("%v: adequate trainees signal less often", c)
		case c.Within(p1, n+1) < c.FalseSignal-slack:
			t.Errorf("%v: one more drill made a signal less likely", c)
		case higher.FalseSignal > c.FalseSignal+slack:
			t.Errorf("%v: a higher limit signals more often: %v", c, higher)
		case c.TrueSignal > 1 || c.FalseSignal < 0:
			t.Errorf("%v: no probability", c)
		}
	}
}

func TestRunLengthAtTheEnds(t *testing.T) {
	c, err := New(.1, .25, 1.25, 50)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.ARL(0); got != 7 {
		t.Errorf("with no failure the signal comes at drill %g, want 7", got)
	}
	if got := c.ARL(1); !math.IsInf(got, 1) {
		t.Errorf("with nothing but failures the run length is %g", got)
	}
	if !math.IsNaN(c.ARL(1.5)) || !math.IsNaN(c.Within(-.1, 10)) {
		t.Error("a rate outside 0..1 gave a number")
	}
	if got := c.Within(.1, 0); got != 0 {
		t.Errorf("within no drills: %g", got)
	}
}

func TestChartsRefuse(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		p0, p1, h float64
		n         int
	}{{0, .2, 1, 10}, {.2, .2, 1, 10}, {.3, .2, 1, 10}, {.1, 1, 1, 10}, {.1, .2, 0, 10}, {.1, .2, nan, 10},
		{.1, .2, math.Inf(1), 10}, {.1, .2, 1, 0}, {.1, .100001, 100, 10}, {nan, .2, 1, 10}, {.1, .2, 1, 1 << 40}} {
		if got, err := New(c.p0, c.p1, c.h, c.n); err == nil {
			t.Errorf("New accepted %+v: %v", c, got)
		}
	}
	for _, c := range []struct {
		p0, p1 float64
		n      int
		alpha  float64
	}{{.1, .25, 50, 0}, {.1, .25, 50, 1}, {.1, .25, 5, .05}, {.2, .1, 50, .05}, {.1, .25, 0, .05}} {
		if got, err := Limit(c.p0, c.p1, c.n, c.alpha); err == nil {
			t.Errorf("Limit accepted %+v: %v", c, got)
		}
	}
}

func TestChartReads(t *testing.T) {
	c, err := Limit(.1, .25, 50, .05)
	if err != nil {
		t.Fatal(err)
	}
	want := "limit 3.64 for failure rates 0.1 (adequate) and 0.25 (inadequate): within 50 drills an inadequate trainee signals with probability 0.049, an adequate one with 0.734"
	if c.String() != want {
		t.Errorf("reads %q", c)
	}
}

func BenchmarkLimit(b *testing.B) {
	for b.Loop() {
		if _, err := Limit(.1, .25, 50, .05); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkARL(b *testing.B) {
	c, _ := New(.02, .05, 1.5, 50)
	for b.Loop() {
		c.ARL(.05)
	}
}
