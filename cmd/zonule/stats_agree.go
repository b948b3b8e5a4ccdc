package main

import (
	"fmt"
	"slices"
	"strings"

	"zonule/assessor/agree"
)

type statsICC struct {
	statsFile
	statsLevel
}

// Run computes the correlations; with gaps, the two that can be.
func (c *statsICC) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "icc"}
		_, raters, scores, err := d.matrix("target")
		if err != nil {
			return r, err
		}
		if slices.ContainsFunc(scores, func(row []float64) bool { return slices.ContainsFunc(row, func(v float64) bool { return v != v }) }) {
			p, err := agree.Incomplete(scores)
			if err != nil {
				return r, err
			}
			t := r.table("components", "source", "variance")
			t.row("target", p.Target)
			t.row("rater", p.Rater)
			t.row("residual", p.Residual)
			t = r.table("correlations", "name", "icc")
			t.row("ICC(2,1)", p.Absolute)
			t.row("ICC(3,1)", p.Consistency)
			r.note("Cells are missing, so only the two single-rating correlations can be given, by restricted maximum likelihood and without intervals.")
			return r, nil
		}
		got, err := agree.Intraclass(scores, c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("mean squares", "source", "ms")
		t.row("between targets", got.BetweenMS)
		t.row("within targets", got.WithinMS)
		t.row("raters", got.RatersMS)
		t.row("residual", got.ResidualMS)
		t = r.table("correlations", "name", "icc", "low", "high", "f", "df1", "df2", "p")
		for _, k := range got.Coefficients {
			t.row(k.Name, k.Value, k.Low, k.High, k.F, k.DF1, k.DF2, k.P)
		}
		for _, name := range got.NotDefined {
			r.note("%s is not defined for these ratings.", name)
		}
		r.note("%d targets, %d raters.", got.Targets, len(raters))
		return r, nil
	})
}

type statsKappa struct {
	statsFile
	statsLevel
	Weights string   `help:"How much a disagreement counts: none, linear, quadratic." enum:"none,linear,quadratic" default:"none"`
	Order   []string `help:"The categories in order, when weights need one. Otherwise they stand in the order of the alphabet." placeholder:"A,B"`
}

// Run computes kappa.
func (c *statsKappa) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "kappa"}
		first, err := d.text("first")
		if err != nil {
			return r, err
		}
		second, err := d.text("second")
		if err != nil {
			return r, err
		}
		table, order, err := agree.Cross(first, second, c.Order)
		if err != nil {
			return r, err
		}
		w := map[string]agree.Weighting{"none": agree.Unweighted, "linear": agree.Linear, "quadratic": agree.Quadratic}[c.Weights]
		k, err := agree.Cohen(table, w.Disagreements(len(order)), c.Level)
		if err != nil {
			return r, err
		}
		kappaTable(&r, *k)
		r.note("%d subjects, categories in the order %s, weights: %s.", k.N, strings.Join(order, ", "), c.Weights)
		return r, nil
	})
}

func kappaTable(r *statsResult, k agree.Kappa) {
	t := r.table("kappa", "kappa", "low", "high", "error", "observed", "expected", "null_error", "z", "p")
	t.row(k.Value, k.Low, k.High, k.Error, k.Observed, k.Expected, k.NullError, k.Z, k.P)
}

type statsFleiss struct {
	statsFile
	statsLevel
}

// Run computes the kappa of several raters.
func (c *statsFleiss) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "fleiss"}
		at := slices.Index(d.columns, "subject")
		ratings := make([][]string, len(d.rows))
		for i, row := range d.rows {
			for j, cell := range row {
				if j != at {
					ratings[i] = append(ratings[i], cell)
				}
			}
		}
		counts, categories, err := agree.Count(ratings)
		if err != nil {
			return r, err
		}
		k, err := agree.Fleiss(counts, c.Level)
		if err != nil {
			return r, err
		}
		kappaTable(&r, k.Kappa)
		t := r.table("categories", "category", "used", "kappa", "z", "p")
		for j, s := range k.Categories {
			if s == nil {
				t.row(categories[j], nil, nil, nil, nil)
				continue
			}
			t.row(categories[j], s.Used, s.Kappa, s.Z, s.P)
		}
		r.note("%d subjects, %d ratings each.", k.N, k.Raters)
		return r, nil
	})
}

type statsAlpha struct {
	statsFile
	statsLevel
	Metric    string `help:"How far apart two values are: nominal, ordinal, interval, ratio." enum:"nominal,ordinal,interval,ratio" default:"interval"`
	Resamples int    `help:"Resampled sets of units for the interval; 0 gives none." default:"2000"`
	Seed      uint64 `help:"Seed of the resampling." default:"1"`
}

// Run computes alpha.
func (c *statsAlpha) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "alpha"}
		_, _, ratings, err := d.matrix("unit")
		if err != nil {
			return r, err
		}
		m := map[string]agree.Metric{"nominal": agree.Nominal, "ordinal": agree.Ordinal, "interval": agree.Interval, "ratio": agree.Ratio}[c.Metric]
		a, err := agree.Alpha(ratings, m)
		if err != nil {
			return r, err
		}
		low, high := any(nil), any(nil)
		if c.Resamples > 0 {
			l, h, err := agree.AlphaInterval(ratings, m, c.Level, c.Resamples, c.Seed)
			if err != nil {
				r.note("No interval: %v.", err)
			} else {
				low, high = l, h
			}
		}
		t := r.table("alpha", "alpha", "low", "high", "observed", "expected", "units", "values")
		t.row(a.Alpha, low, high, a.Observed, a.Expected, a.Units, a.Values)
		r.note("Metric %s; the interval is from %d resampled sets of units, seed %d.", c.Metric, c.Resamples, c.Seed)
		return r, nil
	})
}

// statsDesign says how a generalizability study is laid out.
type statsDesign struct {
	Design string `help:"pxi, pxr, pxixr or nested (raters within items)." enum:"pxi,pxr,pxixr,nested" default:"pxixr"`
}

func (c statsDesign) study(d statsData) (*agree.Study, error) {
	design := map[string]agree.Design{"pxi": agree.ByItem, "pxr": agree.ByRater, "pxixr": agree.Crossed, "nested": agree.Nested}[c.Design]
	person, err := d.text("person")
	if err != nil {
		return nil, err
	}
	score, err := d.numbers("score")
	if err != nil {
		return nil, err
	}
	item, rater := make([]string, len(person)), make([]string, len(person))
	if design != agree.ByRater {
		if item, err = d.text("item"); err != nil {
			return nil, err
		}
	}
	if design != agree.ByItem {
		if rater, err = d.text("rater"); err != nil {
			return nil, err
		}
	}
	observations := make([]agree.Observation, len(person))
	for i := range person {
		observations[i] = agree.Observation{Person: person[i], Item: item[i], Rater: rater[i], Score: score[i]}
	}
	return agree.Generalize(observations, design)
}

type statsGStudy struct {
	statsFile
	statsLevel
	statsDesign
}

// Run finds the variance components.
func (c *statsGStudy) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "gstudy"}
		s, err := c.study(d)
		if err != nil {
			return r, err
		}
		intervals, err := s.Intervals(c.Level)
		if err != nil {
			r.note("No intervals: %v.", err)
		}
		t := r.table("components", "source", "variance", "error", "low", "high")
		for i, k := range s.Components {
			low, high := any(nil), any(nil)
			if intervals != nil {
				low, high = intervals[i].Low, when(!intervals[i].Open, intervals[i].High)
			}
			t.row(k.Name, k.Variance, k.Error, low, high)
		}
		if len(s.Strata) > 0 {
			t = r.table("analysis of variance", "source", "df", "ss", "ms", "component")
			for _, k := range s.Strata {
				t.row(k.Name, k.DF, k.SS, k.MS, k.Variance)
			}
		}
		t = r.table("fit", "persons", "items", "raters", "scores", "mean", "mean_error", "restricted_log_likelihood")
		t.row(s.Persons, s.Items, s.Raters, s.Scores, s.Mean, s.MeanError, s.LogLikelihood)
		r.note("Design %s; components by restricted maximum likelihood. A component of the analysis of variance may come out below 0.", s.Design)
		return r, nil
	})
}

type statsDStudy struct {
	statsFile
	statsDesign
	Items  int     `help:"Up to so many items." default:"10"`
	Raters int     `help:"Up to so many raters." default:"4"`
	Fixed  bool    `help:"The items are all there are, not a sample."`
	Phi    float64 `help:"The dependability to reach." default:"0.8"`
}

// Run computes the grid of plans, and the least that reach the target.
func (c *statsDStudy) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "dstudy"}
		if c.Items < 1 || c.Items > 1000 || c.Raters < 1 || c.Raters > 100 {
			return r, fmt.Errorf("plans have 1 to 1000 items and 1 to 100 raters")
		}
		s, err := c.study(d)
		if err != nil {
			return r, err
		}
		v := s.Variances()
		columns := []string{"items", "raters", "universe", "relative", "absolute", "erho2", "phi", "relative_sem", "absolute_sem"}
		grid := r.table("plans", columns...)
		row := func(t *statsTable, p *agree.Decision) {
			t.row(p.Items, p.Raters, p.Universe, p.Relative, p.Absolute, p.Erho2, p.Phi, p.RelativeSEM, p.AbsoluteSEM)
		}
		items, raters := c.Items, c.Raters
		if s.Design == agree.ByRater {
			items = 1
		}
		if s.Design == agree.ByItem {
			raters = 1
		}
		for k := 1; k <= raters; k++ {
			for i := 1; i <= items; i++ {
				p, err := v.Decide(agree.Plan{Items: i, Raters: k, ItemsFixed: c.Fixed})
				if err != nil {
					return r, err
				}
				row(grid, p)
			}
		}
		enough, err := v.Reach(c.Phi, agree.Plan{Items: 1000, Raters: raters, ItemsFixed: c.Fixed})
		if err != nil {
			r.note("Phi %g is out of reach: %v.", c.Phi, err)
			return r, nil
		}
		t := r.table(fmt.Sprintf("fewest for phi %g", c.Phi), columns...)
		for i := range enough {
			row(t, &enough[i])
		}
		return r, nil
	})
}
