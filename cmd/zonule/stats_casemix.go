package main

import (
	"fmt"
	"os"
	"strconv"

	"zonule/assessor/casemix"
	"zonule/assessor/logistic"
)

type statsInterval struct {
	statsFile
	statsLevel
}

// Run gives six intervals of each proportion.
func (c *statsInterval) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "interval"}
		events, err := d.wholes("events")
		if err != nil {
			return r, err
		}
		n, err := d.wholes("n")
		if err != nil {
			return r, err
		}
		t := r.table("intervals", "events", "n", "rate", "method", "low", "high")
		for i := range events {
			for _, m := range []struct {
				name string
				of   func(int, int, float64) (casemix.Interval, error)
			}{{"exact", casemix.Exact}, {"Wilson", casemix.Wilson}, {"Wilson, corrected", casemix.WilsonCorrected}, {"Jeffreys", casemix.Jeffreys},
				{"Jeffreys, modified", casemix.JeffreysModified}, {"Agresti-Coull", casemix.AgrestiCoull}} {
				v, err := m.of(events[i], n[i], c.Level)
				if err != nil {
					return r, fmt.Errorf("row %d: %w", i+1, err)
				}
				t.row(events[i], n[i], float64(events[i])/float64(n[i]), m.name, v.Low, v.High)
			}
		}
		return r, nil
	})
}

type statsDifference struct {
	statsFile
	statsLevel
}

// Run gives the interval of each difference.
func (c *statsDifference) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "difference"}
		var v [4][]int
		for i, name := range []string{"events1", "n1", "events2", "n2"} {
			var err error
			if v[i], err = d.wholes(name); err != nil {
				return r, err
			}
		}
		t := r.table("differences", "events1", "n1", "events2", "n2", "difference", "low", "high")
		for i := range v[0] {
			diff, in, err := casemix.Difference(v[0][i], v[1][i], v[2][i], v[3][i], c.Level)
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			t.row(v[0][i], v[1][i], v[2][i], v[3][i], diff, in.Low, in.High)
		}
		r.note("Method 10 of Newcombe 1998, from two Wilson intervals.")
		return r, nil
	})
}

type statsFunnel struct {
	statsFile
	Target  *float64 `help:"The true rate the limits are for. Otherwise that of all rows together." placeholder:"P"`
	Outside float64  `help:"Probability of falling outside by chance, both sides together." default:"0.05"`
}

// Run gives the limits for each number of cases.
func (c *statsFunnel) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "funnel"}
		n, err := d.wholes("n")
		if err != nil {
			return r, err
		}
		events, err := d.wholes("events")
		if err != nil {
			return r, err
		}
		all, met := 0, 0
		for i := range n {
			all, met = all+n[i], met+events[i]
		}
		target := float64(met) / float64(max(1, all))
		if c.Target != nil {
			target = *c.Target
		}
		t := r.table("limits", "n", "events", "rate", "low", "high", "smooth_low", "smooth_high", "normal_low", "normal_high", "outside")
		for i := range n {
			l, err := casemix.Funnel(n[i], target, c.Outside)
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			rate := float64(events[i]) / float64(n[i])
			t.row(n[i], events[i], rate, l.Low, l.High, l.SmoothLow, l.SmoothHigh, l.NormalLow, l.NormalHigh, rate < l.Low || rate > l.High)
		}
		r.note("Limits for a true rate of %.6g, crossed by chance alone with probability %g at most about. Rows stand in the order of the data.", target, c.Outside)
		return r, nil
	})
}

type statsOE struct {
	statsFile
	statsLevel
}

// Run compares observed with expected.
func (c *statsOE) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "observed-expected"}
		risks, err := d.numbers("risk")
		if err != nil {
			return r, err
		}
		failed, err := d.truths("failed")
		if err != nil {
			return r, err
		}
		expected, err := casemix.Expected(risks)
		if err != nil {
			return r, err
		}
		observed := 0
		for _, f := range failed {
			if f {
				observed++
			}
		}
		v, err := casemix.Compare(observed, expected, c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("comparison", "cases", "observed", "expected", "difference", "ratio", "exact_low", "exact_high", "byar_low", "byar_high")
		t.row(len(risks), v.Observed, v.Expected, v.Difference, v.Ratio, v.Exact.Low, v.Exact.High, v.Byar.Low, v.Byar.High)
		if c, err := logistic.Discrimination(risks, failed); err == nil {
			b, _ := logistic.Brier(risks, failed)
			t = r.table("predictions", "c_statistic", "brier")
			t.row(c, b)
		}
		r.note("The expected number counts as known: error in the predicted risks is not in the intervals.")
		return r, nil
	})
}

type statsLogistic struct {
	statsFile
	statsLevel
}

// Run fits the regression.
func (c *statsLogistic) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "logistic"}
		met, err := d.truths("met")
		if err != nil {
			return r, err
		}
		names := d.beside("met")
		x := make([][]float64, len(met))
		for _, name := range names {
			v, err := d.numbers(name)
			if err != nil {
				return r, err
			}
			for i := range x {
				x[i] = append(x[i], v[i])
			}
		}
		m, err := logistic.Fit(x, met)
		if err != nil {
			return r, err
		}
		t := r.table("coefficients", "term", "estimate", "error", "wald_low", "wald_high", "profile_low", "profile_high")
		for j, name := range append([]string{"intercept"}, names...) {
			low, high, err := m.Wald(j, c.Level)
			if err != nil {
				return r, err
			}
			pl, ph, err := m.Profile(j, c.Level)
			if err != nil {
				r.note("No profile interval of %s: %v.", name, err)
			}
			t.row(name, m.Coefficients[j], m.Errors[j], low, high, when(err == nil, pl), when(err == nil, ph))
		}
		cs, err := logistic.Discrimination(m.Fitted, met)
		if err != nil {
			return r, err
		}
		b, _ := logistic.Brier(m.Fitted, met)
		t = r.table("fit", "n", "met", "log_likelihood", "deviance", "null_deviance", "aic", "c_statistic", "brier")
		t.row(m.N, m.Met, m.LogLik, m.Deviance, m.NullDeviance, m.AIC, cs, b)
		if hl, err := logistic.HosmerLemeshow(m.Fitted, met, 10); err == nil {
			t = r.table("calibration", "groups", "statistic", "df", "p")
			t.row(hl.Groups, hl.Statistic, hl.DF, hl.P)
		}
		return r, nil
	})
}

type statsRiskModel struct {
	statsFile
	Model string `help:"The coefficient file (zonule: risk/1)." required:"" type:"existingfile" placeholder:"FILE"`
}

// Run predicts each case's risk. Columns are the model's factors; an empty cell says nothing about one.
func (c *statsRiskModel) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "risk"}
		source, err := os.ReadFile(c.Model)
		if err != nil {
			return r, err
		}
		m, err := casemix.ParseModel(c.Model, source)
		if err != nil {
			return r, err
		}
		t := r.table("risks", "case", "risk", "odds_ratio", "not_said")
		for i, row := range d.rows {
			cs, err := caseOf(m, d.columns, row)
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			p, err := m.Predict(cs)
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			t.row(i+1, p.Risk, p.OddsRatio, len(p.Unsure))
		}
		t = r.table("sources", "number", "mark", "ref")
		t.row("baseline", m.Baseline.Mark, m.Baseline.Ref)
		for _, f := range m.Factors {
			t.row(f.Name, f.Mark, f.Ref)
		}
		r.note("%s: %s. %s", m.ID, m.Outcome, m.Use)
		return r, nil
	})
}

// caseOf reads a row in the model's terms.
func caseOf(m *casemix.Model, columns, row []string) (casemix.Case, error) {
	c := casemix.Case{Present: map[string]bool{}, Level: map[string]string{}, Measured: map[string]float64{}}
	for j, name := range columns {
		if missing(row[j]) {
			continue
		}
		kind := casemix.Factor{}
		for _, f := range m.Factors {
			if f.Name == name {
				kind = f
			}
		}
		var err error
		switch {
		case kind.Levels != nil:
			c.Level[name] = row[j]
		case kind.PerUnit != 0:
			c.Measured[name], err = strconv.ParseFloat(row[j], 64)
		default:
			c.Present[name], err = truth(row[j])
		}
		if err != nil {
			return c, fmt.Errorf("column %s: %w", name, err)
		}
	}
	return c, nil
}
