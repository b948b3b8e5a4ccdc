package agree

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

type decision struct {
	NR       int     `json:"n_r"`
	NT       int     `json:"n_t"`
	NO       int     `json:"n_o"`
	NI       int     `json:"n_i_per_o"`
	Fixed    int     `json:"n_t_fixed"`
	Universe float64 `json:"universe"`
	Relative float64 `json:"rel_error_var"`
	Absolute float64 `json:"abs_error_var"`
	Erho2    float64
	Phi      float64
	RelSEM   float64 `json:"SEM_rel"`
	AbsSEM   float64 `json:"SEM_abs"`
}

type generalizability struct {
	Cases []struct {
		ID, CSV string
		Inputs  struct {
			Table [][]float64 `json:"persons_by_raters"`
		}
		ANOVA struct {
			DF         map[string]int
			SS, MS     map[string]float64
			Components map[string]float64
		} `json:"anova_ems"`
		REML struct {
			Components map[string]float64
			LogLik     float64 `json:"logLik_reml"`
			Mean       float64 `json:"mean_estimate"`
			MeanError  float64 `json:"mean_se"`
			N          int     `json:"n_obs"`
		} `json:"reml_lme4"`
		DStudy  []decision `json:"d_study"`
		Fixed   []decision `json:"d_study_tasks_fixed"`
		Lambdas struct {
			Values []struct {
				Lambda float64
				Phi    float64 `json:"Phi_lambda"`
			}
		} `json:"phi_lambda"`
	}
}

// ours maps the reference's names of effects (t or o for item, i:o for raters nested in it) to ours.
var ours = map[string]string{
	"p": "p", "r": "r", "t": "i", "o": "i", "pr,e": "pr,e", "p:t": "pi", "pt": "pi", "p:r": "pr", "pr": "pr", "t:r": "ir", "tr": "ir",
	"p:t:r": "pir,e", "ptr,e": "pir,e", "po": "pi", "p:o": "pi", "i:o": "r:i", "oi": "r:i", "pi:o,e": "pr:i,e",
}

func table(t *testing.T, rows [][]float64) []Observation {
	t.Helper()
	var out []Observation
	for p, row := range rows {
		for r, v := range row {
			if !math.IsNaN(v) {
				out = append(out, Observation{Person: strconv.Itoa(p), Rater: strconv.Itoa(r), Score: v})
			}
		}
	}
	return out
}

func observations(t *testing.T, name, itemColumn, raterColumn string) []Observation {
	t.Helper()
	f, err := os.Open("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, h := range rows[0] {
		column[strings.TrimSpace(h)] = i
	}
	var out []Observation
	for _, row := range rows[1:] {
		y, err := strconv.ParseFloat(row[column["y"]], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, Observation{Person: row[column["p"]], Item: row[column[itemColumn]], Rater: row[column[raterColumn]], Score: y})
	}
	return out
}

// Shrout-Fleiss, Brennan 2001 table 3.2, Gleser 1965 and generated data, against R 4.2.2 and lme4:
// mean squares to 1e-10 relative, components by mean squares to 1e-9, by restricted likelihood to
// 1e-4, its logarithm to 1e-5, coefficients to 1e-8.
func TestGeneralizeAgreesWithTheReference(t *testing.T) {
	var ref generalizability
	read(t, "gtheory.json", &ref)
	if len(ref.Cases) != 6 {
		t.Fatalf("%d cases in the reference", len(ref.Cases))
	}
	for _, c := range ref.Cases {
		t.Run(c.ID, func(t *testing.T) {
			var obs []Observation
			design := ByRater
			switch {
			case c.CSV == "":
				obs = table(t, c.Inputs.Table)
			case strings.HasPrefix(c.CSV, "brennan"):
				design, obs = Nested, observations(t, c.CSV, "o", "i")
			default:
				design, obs = Crossed, observations(t, c.CSV, "t", "r")
			}
			s, err := Generalize(obs, design)
			if err != nil {
				t.Fatal(err)
			}
			strata, components := map[string]Stratum{}, map[string]Component{}
			for _, l := range s.Strata {
				strata[l.Name] = l
			}
			for _, l := range s.Components {
				components[l.Name] = l
			}
			if (len(c.ANOVA.DF) == 0) == s.Balanced || s.Balanced && len(strata) != len(c.ANOVA.DF) {
				t.Errorf("balanced %v with %d lines", s.Balanced, len(strata))
			}
			for name, df := range c.ANOVA.DF {
				near(t, name+" df", float64(strata[ours[name]].DF), float64(df), 0)
				near(t, name+" ss", strata[ours[name]].SS, c.ANOVA.SS[name], 1e-10*c.ANOVA.SS[name])
				near(t, name+" ms", strata[ours[name]].MS, c.ANOVA.MS[name], 1e-10*c.ANOVA.MS[name])
			}
			for name, v := range c.ANOVA.Components {
				near(t, name+" component", strata[ours[name]].Variance, v, 1e-9)
			}
			for name, v := range c.REML.Components {
				us := ours[name]
				if name == "Residual" {
					us = s.Components[len(s.Components)-1].Name
				}
				near(t, name+" restricted", components[us].Variance, v, 1e-4)
			}
			near(t, "log-likelihood", s.LogLikelihood, c.REML.LogLik, 1e-5)
			near(t, "mean", s.Mean, c.REML.Mean, 1e-4)
			near(t, "mean error", s.MeanError, c.REML.MeanError, 1e-4)
			near(t, "scores", float64(s.Scores), float64(c.REML.N), 0)
			v := s.Variances()
			tolerance := 1e-8
			if !s.Balanced {
				tolerance = 1e-4
			}
			for _, d := range append(c.DStudy, c.Fixed...) {
				plan := Plan{Items: d.NT, Raters: d.NR}
				if d.Fixed > 0 {
					plan.Items, plan.ItemsFixed = d.Fixed, true
				}
				if d.NO > 0 {
					plan.Items, plan.Raters = d.NO, d.NI
				}
				got, err := v.Decide(plan)
				if err != nil {
					t.Fatal(err)
				}
				near(t, "universe", got.Universe, d.Universe, tolerance)
				near(t, "relative", got.Relative, d.Relative, tolerance)
				near(t, "absolute", got.Absolute, d.Absolute, tolerance)
				near(t, "Erho2", got.Erho2, d.Erho2, tolerance)
				near(t, "Phi", got.Phi, d.Phi, tolerance)
				near(t, "relative SEM", got.RelativeSEM, d.RelSEM, tolerance)
				near(t, "absolute SEM", got.AbsoluteSEM, d.AbsSEM, tolerance)
			}
			if len(c.DStudy) == 0 {
				t.Error("no decision study in the reference")
			}
			for _, l := range c.Lambdas.Values {
				got, err := s.PhiLambda(l.Lambda, Plan{Raters: s.Raters})
				if err != nil {
					t.Fatal(err)
				}
				near(t, "Phi(lambda)", got, l.Phi, 1e-8)
			}
		})
	}
}
