package mixed

import (
	"fmt"
	"math"
	"testing"
)

// The three curves of the reference, each in its own parameters.
var (
	asymptotic = Function{3, func(p []float64, x float64, d []float64) float64 { // Asym, R0, lrc
		k := math.Exp(p[2])
		e := math.Exp(-k * x)
		d[0], d[1], d[2] = 1-e, e, -(p[1]-p[0])*e*k*x
		return p[0] + (p[1]-p[0])*e
	}}
	logistic = Function{3, func(p []float64, x float64, d []float64) float64 { // Asym, xmid, scal
		e := math.Exp((p[1] - x) / p[2])
		d[0] = 1 / (1 + e)
		d[1] = -p[0] * e / (1 + e) / (1 + e) / p[2]
		d[2] = -d[1] * (p[1] - x) / p[2]
		return p[0] / (1 + e)
	}}
	approach = Function{3, func(p []float64, x float64, d []float64) float64 { // A, B, k
		e := math.Exp(-p[2] * x)
		d[0], d[1], d[2] = 1, -e, p[1]*x*e
		return p[0] - p[1]*e
	}}
)

type nlmmReference struct {
	Cases []struct {
		ID, CSV  string
		Expected struct {
			Fixed []struct {
				Term     string
				Estimate float64
				SE       float64 `json:"se_unadjusted_ml"`
				SENlme   float64 `json:"se_nlme_summary"`
			}
			Random   map[string]float64 `json:"random_sd"`
			Sigma    float64            `json:"residual_sd"`
			LogLik   float64
			AIC, BIC float64
			Ranef    []map[string]any
		}
	}
}

func subjectsOf(t testing.TB, c table, y, x, group string) []Subject {
	t.Helper()
	ys, xs := c.numbers(t, y), c.numbers(t, x)
	at := map[string]int{}
	var out []Subject
	for i, name := range c[group] {
		if _, ok := at[name]; !ok {
			at[name] = len(out)
			out = append(out, Subject{Name: name})
		}
		s := &out[at[name]]
		s.X, s.Y = append(s.X, xs[i]), append(s.Y, ys[i])
	}
	return out
}

// nlme's three fits: the same estimator, so its own tolerances hold (fixed effects 1e-4, errors and
// deviations 1e-3 relative, log likelihood 1e-3), not the 2 % that another estimator would need.
func TestNonlinearAgreesWithR(t *testing.T) {
	var ref nlmmReference
	readJSON(t, "nlmm.json", &ref)
	setup := map[string]struct {
		y, x, group string
		f           Function
		start       []float64
		random      []int
	}{
		"loblolly":          {"height", "age", "Seed", asymptotic, []float64{103, -8.5, -3.3}, []int{0}},
		"orange":            {"circumference", "age", "Tree", logistic, []float64{190, 700, 350}, []int{0}},
		"nl_learning_curve": {"score", "case", "trainee", approach, []float64{80, 40, .1}, []int{0, 1}},
	}
	if len(ref.Cases) != len(setup) {
		t.Fatalf("%d cases", len(ref.Cases))
	}
	for _, e := range ref.Cases {
		c := setup[e.ID]
		f, err := Nonlinear(c.f, subjectsOf(t, readCSV(t, e.CSV), c.y, c.x, c.group), c.start, NonlinearOptions{Random: c.random, Diagonal: true})
		if err != nil {
			t.Fatalf("%s: %v", e.ID, err)
		}
		want := e.Expected
		t.Logf("%s after %d rounds: log likelihood %.6f, want %.6f", e.ID, f.Iterations, f.LogLik, want.LogLik)
		for j, w := range want.Fixed {
			near(t, e.ID+" "+w.Term, f.Fixed[j], w.Estimate, 1e-4*math.Abs(w.Estimate))
			near(t, e.ID+" error of "+w.Term, f.Errors[j], w.SE, 1e-3*w.SE)
			adjusted := f.Errors[j] * math.Sqrt(float64(f.N)/float64(f.N-len(want.Fixed)))
			near(t, e.ID+" error as nlme gives it", adjusted, w.SENlme, 1e-3*w.SENlme)
		}
		near(t, e.ID+" sigma", f.Sigma, want.Sigma, 1e-3*want.Sigma)
		near(t, e.ID+" log likelihood", f.LogLik, want.LogLik, 1e-3)
		near(t, e.ID+" AIC", f.AIC, want.AIC, 2e-3)
		near(t, e.ID+" BIC", f.BIC, want.BIC, 2e-3)
		for k, r := range c.random {
			term := want.Fixed[r].Term
			sd := want.Random[term]
			near(t, e.ID+" deviation of "+term, math.Sqrt(f.Random[k][k]), sd, 1e-3*sd)
			by := map[string]float64{}
			for _, b := range f.Effects {
				by[b.Name] = b.B[k]
			}
			if len(want.Ranef) != len(f.Effects) {
				t.Errorf("%s: %d effects, want %d", e.ID, len(f.Effects), len(want.Ranef))
			}
			for _, row := range want.Ranef {
				near(t, e.ID+" effect "+fmt.Sprint(row["level"]), by[row["level"].(string)], row[term].(float64), 1e-3*sd)
			}
		}
	}
}
