package cusum

import (
	"math"
	"math/rand/v2"
	"testing"
)

type riskReference struct {
	Published struct {
		Steiner struct {
			S0  float64 `json:"score0_success"`
			F0  float64 `json:"score0_failure"`
			S50 float64 `json:"score50_success"`
			F50 float64 `json:"score50_failure"`
		} `json:"steiner2000_p446"`
	} `json:"published_weights"`
	Weights []struct {
		Score, Y, RA, P, W float64
	}
	Mix struct{ Risk, Proportion []float64 } `json:"case_mix"`
	ARL []struct {
		RA, H     float64
		Odds      float64 `json:"true_odds_multiplier"`
		ARL       float64 `json:"arl_grid6000"`
		Simulated float64 `json:"arl_sim"`
		SE        float64 `json:"sim_se"`
	}
	Traces []struct {
		Inputs struct {
			P       []float64
			Failure []int
			RA, R0  float64
			H       float64
		}
		Expected struct {
			W, S   []float64
			First  *int      `json:"first_signal"`
			Excess []float64 `json:"vlad_expected_minus_observed_cumulative"`
		}
	}
}

func (r riskReference) mix() Mix {
	var m Mix
	for i, p := range r.Mix.Risk {
		m = append(m, Share{p, r.Mix.Proportion[i]})
	}
	return m
}

func TestRiskWeightsAndTraces(t *testing.T) {
	var ref riskReference
	read(t, "risk_adjusted_cusum.json", &ref)
	if len(ref.Weights) < 12 || len(ref.Traces) < 2 {
		t.Fatalf("%d weights, %d traces", len(ref.Weights), len(ref.Traces))
	}
	for _, e := range ref.Weights {
		failure, success := RiskAdjusted{Null: 1, Alternative: e.RA, H: 1}.Weights(e.P)
		got := success
		if e.Y == 1 {
			got = failure
		}
		if math.Abs(got-e.W) > 1e-12 {
			t.Errorf("score %g outcome %g: weight %.15g, want %.15g", e.Score, e.Y, got, e.W)
		}
	}
	// Steiner et al. 2000, p. 446, as printed: logit of the risk -3.68 + 0.077 score.
	for score, want := range map[float64][2]float64{0: {ref.Published.Steiner.F0, ref.Published.Steiner.S0}, 50: {ref.Published.Steiner.F50, ref.Published.Steiner.S50}} {
		p := 1 / (1 + math.Exp(3.68-.077*score))
		failure, success := RiskAdjusted{Null: 1, Alternative: 2, H: 1}.Weights(p)
		if math.Abs(failure-want[0]) > .0055 || math.Abs(success-want[1]) > .0055 {
			t.Errorf("score %g: weights %g and %g, printed %v", score, failure, success, want)
		}
	}
	for i, e := range ref.Traces {
		in, want := e.Inputs, e.Expected
		failures := make([]bool, len(in.Failure))
		for k, f := range in.Failure {
			failures[k] = f == 1
		}
		got, err := RiskAdjusted{Null: in.R0, Alternative: in.RA, H: in.H}.Follow(in.P, failures)
		if err != nil {
			t.Fatal(err)
		}
		first := 0
		if want.First != nil {
			first = *want.First
		}
		if got.Signal != first {
			t.Errorf("trace %d signals at %d, want %d", i, got.Signal, first)
		}
		for k := range want.S {
			if math.Abs(got.Weights[k]-want.W[k]) > 1e-12 || math.Abs(got.Scores[k]-want.S[k]) > 1e-12 || math.Abs(got.Excess[k]-want.Excess[k]) > 1e-12 {
				t.Fatalf("trace %d case %d: %g %g %g, want %g %g %g", i, k+1, got.Weights[k], got.Scores[k], got.Excess[k], want.W[k], want.S[k], want.Excess[k])
			}
		}
	}
}

// The run lengths (asked: 0.5 % of the finest grid) and its 2e5 simulated runs.
func TestRiskRunLengths(t *testing.T) {
	var ref riskReference
	read(t, "risk_adjusted_cusum.json", &ref)
	if len(ref.ARL) < 5 {
		t.Fatalf("%d run lengths", len(ref.ARL))
	}
	for _, e := range ref.ARL {
		got, err := RiskAdjusted{Null: 1, Alternative: e.RA, H: e.H}.ARL(ref.mix(), e.Odds)
		if err != nil || math.Abs(got/e.ARL-1) > 2e-3 {
			t.Errorf("RA %g h %g odds %g: got %.8g, want %.8g (%v)", e.RA, e.H, e.Odds, got, e.ARL, err)
		}
		if math.Abs(got-e.Simulated) > 4*e.SE+1e-3*got {
			t.Errorf("RA %g h %g odds %g: got %.8g, simulated %.8g (%.2g)", e.RA, e.H, e.Odds, got, e.Simulated, e.SE)
		}
	}
}

// A found limit's false signals are met by the chart itself over simulated cases.
func TestRiskLimitHoldsInSimulation(t *testing.T) {
	var ref riskReference
	read(t, "risk_adjusted_cusum.json", &ref)
	m := ref.mix()
	const n, runs, alpha = 150, 8_000, .05
	c, err := LimitRiskAdjusted(1, 2, m, n, alpha)
	if err != nil {
		t.Fatal(err)
	}
	stated, err := c.Within(m, 1, n)
	if err != nil || stated > alpha {
		t.Fatalf("limit %g states %g (%v)", c.H, stated, err)
	}
	random := rand.New(rand.NewPCG(51, 52))
	signals := 0
	risks, failures := make([]float64, n), make([]bool, n)
	for range runs {
		for i := range risks {
			u := random.Float64()
			for _, s := range m {
				if risks[i] = s.Risk; u < s.Share {
					break
				}
				u -= s.Share
			}
			failures[i] = random.Float64() < risks[i]
		}
		got, err := c.Follow(risks, failures)
		if err != nil {
			t.Fatal(err)
		}
		if got.Signal > 0 {
			signals++
		}
	}
	got := float64(signals) / runs
	if se := math.Sqrt(stated * (1 - stated) / runs); math.Abs(got-stated) > 4*se {
		t.Errorf("limit %g: stated %.4f, simulated %.4f", c.H, stated, got)
	}
}

func TestMixOf(t *testing.T) {
	m, err := MixOf([]float64{.1, .2, .1, .1})
	if err != nil || len(m) != 2 || math.Abs(m[0].Share-.75) > 1e-12 {
		t.Errorf("mix %v (%v)", m, err)
	}
	random := rand.New(rand.NewPCG(61, 62))
	risks := make([]float64, 1000)
	mean := 0.0
	for i := range risks {
		risks[i] = .001 + .2*random.Float64()
		mean += risks[i] / 1000
	}
	m, err = MixOf(risks)
	if err != nil || len(m) != mostShares || m.check() != nil {
		t.Fatalf("%d shares (%v)", len(m), err)
	}
	for _, s := range m {
		mean -= s.Risk * s.Share
	}
	if math.Abs(mean) > 1e-12 {
		t.Errorf("grouping moved the mean by %g", mean)
	}
	for _, bad := range [][]float64{nil, {0}, {1}, {math.NaN()}, {-.1}} {
		if m, err := MixOf(bad); err == nil {
			t.Errorf("%v made %v", bad, m)
		}
	}
}

func TestRiskRefuses(t *testing.T) {
	m := Mix{{.1, 1}}
	for _, c := range []RiskAdjusted{{0, 2, 1}, {1, 1, 1}, {1, -2, 1}, {1, 2, 0}, {1, 2, math.NaN()}, {math.Inf(1), 2, 1}} {
		if got, err := c.ARL(m, 1); err == nil {
			t.Errorf("%+v gave %g", c, got)
		}
		if _, err := c.Follow([]float64{.1}, []bool{true}); err == nil {
			t.Errorf("%+v followed", c)
		}
	}
	c := RiskAdjusted{1, 2, 3}
	for _, bad := range []Mix{nil, {{0, 1}}, {{.1, .5}}, {{.1, -1}, {.2, 2}}, {{math.NaN(), 1}}} {
		if got, err := c.ARL(bad, 1); err == nil {
			t.Errorf("mix %v gave %g", bad, got)
		}
	}
	if got, err := c.ARL(m, 0); err == nil {
		t.Errorf("odds 0 gave %g", got)
	}
	if _, err := c.Follow([]float64{.1, .2}, []bool{true}); err == nil {
		t.Error("two risks, one outcome")
	}
	if _, err := c.Follow([]float64{2}, []bool{true}); err == nil {
		t.Error("risk 2")
	}
}

func BenchmarkRiskLimit(b *testing.B) {
	m := Mix{{.0075, .45}, {.012, .28}, {.02, .15}, {.04, .08}, {.1, .04}}
	for b.Loop() {
		if _, err := LimitRiskAdjusted(1, 2, m, 200, .05); err != nil {
			b.Fatal(err)
		}
	}
}
