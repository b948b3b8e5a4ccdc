package mixed

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func readJSON(t testing.TB, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// table is a CSV file by column.
type table map[string][]string

func readCSV(t testing.TB, name string) table {
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
	out := table{}
	for _, row := range rows[1:] {
		for i, cell := range row {
			name := strings.TrimSpace(rows[0][i])
			out[name] = append(out[name], strings.TrimSpace(cell))
		}
	}
	return out
}

func (c table) numbers(t testing.TB, name string) []float64 {
	t.Helper()
	var out []float64
	for _, cell := range c[name] {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// groupsOf makes groups with an intercept and one covariate.
func groupsOf(t testing.TB, c table, y, x, group string, slope bool) []Group {
	t.Helper()
	ys, xs := c.numbers(t, y), c.numbers(t, x)
	at := map[string]int{}
	var out []Group
	for i, name := range c[group] {
		if _, ok := at[name]; !ok {
			at[name] = len(out)
			out = append(out, Group{Name: name})
		}
		g := &out[at[name]]
		g.Y = append(g.Y, ys[i])
		g.X = append(g.X, []float64{1, xs[i]})
		if slope {
			g.Z = append(g.Z, []float64{1, xs[i]})
		} else {
			g.Z = append(g.Z, []float64{1})
		}
	}
	return out
}

type lmmReference struct {
	Cases []struct {
		CSV, Formula, Estimator string
		Expected                struct {
			Fixed []struct {
				Estimate, SE float64
			}
			Vcov       [][]float64 `json:"vcov_fixed"`
			Components []struct {
				Grp        string
				Var1, Var2 *string
				Vcov       float64
				SD         float64 `json:"sdcor"`
			} `json:"variance_components"`
			LogLik    float64
			Criterion float64 `json:"deviance_criterion"`
			AIC, BIC  float64
			Blups     map[string][]map[string]any
			Profile   []struct {
				Parameter string
				Lo, Hi    float64
			} `json:"profile_ci95"`
		}
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// All five fits of lme4: fixed effects 1e-5 relative, errors and components 1e-4, log likelihood
// 1e-5, predicted effects 1e-3 of their deviation.
func TestLinearAgreesWithR(t *testing.T) {
	var ref lmmReference
	readJSON(t, "lmm.json", &ref)
	if len(ref.Cases) != 5 {
		t.Fatalf("%d cases", len(ref.Cases))
	}
	for _, e := range ref.Cases {
		var groups []Group
		slope := !strings.Contains(e.Formula, "(1 |")
		if strings.HasPrefix(e.CSV, "sleep") {
			groups = groupsOf(t, readCSV(t, e.CSV), "Reaction", "Days", "Subject", slope)
		} else {
			groups = groupsOf(t, readCSV(t, e.CSV), "logtime", "lcase", "trainee", slope)
		}
		what := e.Formula + " " + e.Estimator
		f, err := Linear(groups, Options{ML: e.Estimator == "ML", Diagonal: strings.Contains(e.Formula, "||")})
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		want := e.Expected
		for j, w := range want.Fixed {
			near(t, what+" fixed", f.Fixed[j], w.Estimate, 1e-7*math.Abs(w.Estimate))
			near(t, what+" error", f.Errors[j], w.SE, 1e-5*w.SE)
			for k := range want.Vcov[j] {
				near(t, what+" covariance", f.FixedCov[j][k], want.Vcov[j][k], 1e-4*math.Abs(want.Vcov[j][k]))
			}
		}
		near(t, what+" log likelihood", f.LogLik, want.LogLik, 1e-7)
		near(t, what+" criterion", f.Criterion, want.Criterion, 1e-7)
		near(t, what+" AIC", f.AIC, want.AIC, 1e-6)
		near(t, what+" BIC", f.BIC, want.BIC, 1e-6)
		for _, c := range want.Components {
			got, names := 0.0, map[string]int{"(Intercept)": 0, "Days": 1, "lcase": 1}
			switch {
			case c.Var1 == nil:
				got = f.Sigma * f.Sigma
			case c.Var2 == nil:
				got = f.Random[names[*c.Var1]][names[*c.Var1]]
			default:
				got = f.Random[0][1]
			}
			near(t, what+" component "+c.Grp, got, c.Vcov, 1e-4*math.Abs(c.Vcov))
		}
		for _, rows := range want.Blups {
			if len(rows) != len(f.Effects) {
				t.Fatalf("%s: %d effects, want %d", what, len(f.Effects), len(rows))
			}
			by := map[string]Effect{}
			for _, b := range f.Effects {
				by[b.Name] = b
			}
			for _, row := range rows {
				b := by[row["level"].(string)]
				for j, name := range []string{"(Intercept)", slopeName(e.Formula)} {
					if j >= len(b.B) {
						continue
					}
					sd := row["condSD_"+name].(float64)
					near(t, what+" effect", b.B[j], row[name].(float64), 1e-3*sd)
					near(t, what+" effect's deviation", math.Sqrt(b.Cov[j][j]), sd, 1e-4*sd)
				}
			}
		}
	}
}

// lme4's profile intervals, 1e-3 relative to their width.
func TestProfileAgreesWithR(t *testing.T) {
	var ref lmmReference
	readJSON(t, "lmm.json", &ref)
	for _, e := range ref.Cases {
		slope := !strings.Contains(e.Formula, "(1 |")
		y, x, group := "Reaction", "Days", "Subject"
		if !strings.HasPrefix(e.CSV, "sleep") {
			y, x, group = "logtime", "lcase", "trainee"
		}
		f, err := Linear(groupsOf(t, readCSV(t, e.CSV), y, x, group, slope), Options{ML: e.Estimator == "ML", Diagonal: strings.Contains(e.Formula, "||")})
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Profile(.95)
		if err != nil {
			t.Errorf("%s: %v", e.Formula, err)
			continue
		}
		at := map[string]Interval{}
		for _, i := range got {
			at[i.Parameter] = i
		}
		if len(got) != len(e.Expected.Profile) {
			t.Errorf("%s: %d intervals, want %d", e.Formula, len(got), len(e.Expected.Profile))
		}
		for _, w := range e.Expected.Profile {
			name := map[bool]string{true: "fixed 2", false: "fixed 1"}[w.Parameter == slopeName(e.Formula)]
			switch {
			case strings.HasPrefix(w.Parameter, "sd_(Intercept)"):
				name = "sd 1"
			case strings.HasPrefix(w.Parameter, "sd_"):
				name = "sd 2"
			case strings.HasPrefix(w.Parameter, "cor_"):
				name = "cor 1 2"
			case w.Parameter == "sigma":
				name = "sigma"
			}
			near(t, e.Formula+" "+w.Parameter+" low", at[name].Low, w.Lo, 1e-3*(w.Hi-w.Lo))
			near(t, e.Formula+" "+w.Parameter+" high", at[name].High, w.Hi, 1e-3*(w.Hi-w.Lo))
		}
	}
}

func slopeName(formula string) string {
	if strings.Contains(formula, "Days") {
		return "Days"
	}
	return "lcase"
}
