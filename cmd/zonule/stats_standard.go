package main

import (
	"zonule/assessor/credit"
	"zonule/assessor/standard"
)

type statsAngoff struct {
	statsFile
	statsLevel
}

// Run computes the cut of judges by items.
func (c *statsAngoff) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "angoff"}
		judges, items, ratings, err := d.matrix("judge")
		if err != nil {
			return r, err
		}
		a, err := standard.Angoff(ratings, c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("cut", "cut", "proportion", "error_items_fixed", "low", "high", "median", "trimmed")
		t.row(a.Cut, a.Proportion, a.FixedError, a.Interval.Low, a.Interval.High, a.Median, a.Trimmed)
		t = r.table("components", "judge", "item", "residual", "error_judges", "error_judges_and_items")
		t.row(a.Judge, a.Item, a.Residual, a.JudgesError, a.RandomError)
		t = r.table("judges", "judge", "total")
		for i, j := range judges {
			t.row(j, a.Totals[i])
		}
		t = r.table("items", "item", "mean", "deviation")
		for i, name := range items {
			t.row(name, a.ItemMeans[i], a.ItemSpread[i])
		}
		r.note("The last two errors are of the proportion. A cut score is a decision of people; it passes and fails nobody by itself.")
		return r, nil
	})
}

type statsBorderline struct {
	statsFile
	statsLevel
	Grade   float64 `help:"The grade called borderline." default:"2"`
	Samples int     `help:"Bootstrap samples; 0 gives none." default:"2000"`
	Seed    uint64  `help:"Seed of the bootstrap." default:"1"`
}

// Run computes the cut.
func (c *statsBorderline) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "borderline"}
		grades, err := d.numbers("grade")
		if err != nil {
			return r, err
		}
		scores, err := d.numbers("score")
		if err != nil {
			return r, err
		}
		b, err := standard.Borderline(grades, scores, c.Grade, c.Level, standard.Resample{Samples: c.Samples, Seed: c.Seed})
		if err != nil {
			return r, err
		}
		t := r.table("cut", "grade", "cut", "error", "low", "high", "error_sandwich", "error_jackknife", "error_bootstrap", "bootstrap_low", "bootstrap_high")
		boot := c.Samples > 0
		t.row(b.Grade, b.Cut, b.Error, b.Interval.Low, b.Interval.High, b.Sandwich, b.Jackknife, when(boot, b.Bootstrap), when(boot, b.BootstrapInterval.Low), when(boot, b.BootstrapInterval.High))
		t = r.table("regression", "trainees", "intercept", "intercept_error", "slope", "slope_error", "residual", "r_squared")
		t.row(b.N, b.Intercept, b.InterceptError, b.Slope, b.SlopeError, b.Residual, b.RSquared)
		t = r.table("trainees at the grade", "trainees", "mean", "median", "share_below_cut")
		t.row(b.GroupN, when(b.GroupN > 0, b.GroupMean), when(b.GroupN > 0, b.GroupMedian), b.Below)
		r.note("A cut score is a decision of people; it passes and fails nobody by itself.")
		return r, nil
	})
}

type statsContrast struct {
	statsFile
	statsLevel
}

// Run computes the cuts between two groups.
func (c *statsContrast) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "contrasting"}
		scores, err := d.numbers("score")
		if err != nil {
			return r, err
		}
		competent, err := d.truths("competent")
		if err != nil {
			return r, err
		}
		k, err := standard.Contrasting(scores, competent, c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("groups", "group", "trainees", "mean", "deviation")
		t.row("not yet competent", k.NotYet, k.NotYetMean, k.NotYetSpread)
		t.row("competent", k.Competent, k.CompetentMean, k.CompSpread)
		t = r.table("cuts", "method", "cut", "error", "low", "high")
		t.row("densities cross", when(k.HasCrossing, k.Crossing), nil, nil, nil)
		t.row("densities cross, weighted", when(k.HasWeighted, k.WeightedCrossing), nil, nil, nil)
		t.row("midpoint of the means", k.Midpoint, nil, nil, nil)
		t.row("logistic regression", when(k.HasLogistic, k.Logistic), when(k.HasLogistic, k.LogisticError), when(k.HasLogistic, k.LogisticInterval.Low), when(k.HasLogistic, k.LogisticInterval.High))
		for _, at := range k.FewestAt {
			t.row("fewest misjudged", at, nil, nil, nil)
		}
		r.note("The cuts with fewest misjudged misjudge %d.", k.Fewest)
		if !k.HasLogistic {
			r.note("No logistic cut: %s.", k.LogisticNote)
		}
		r.note("A cut score is a decision of people; it passes and fails nobody by itself.")
		return r, nil
	})
}

type statsHofstee struct {
	statsFile
	LowestCut    float64 `help:"Lowest acceptable cut score." required:""`
	HighestCut   float64 `help:"Highest acceptable cut score." required:""`
	LowestShare  float64 `help:"Lowest acceptable share under the cut, 0 to 1." required:""`
	HighestShare float64 `help:"Highest acceptable share under the cut, 0 to 1." required:""`
}

// Run computes the compromise.
func (c *statsHofstee) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "hofstee"}
		scores, err := d.numbers("score")
		if err != nil {
			return r, err
		}
		h, err := standard.Hofstee(scores, standard.Acceptable{LowestCut: c.LowestCut, HighestCut: c.HighestCut, LowestShare: c.LowestShare, HighestShare: c.HighestShare})
		if err != nil {
			return r, err
		}
		t := r.table("cut", "trainees", "cut", "line_share", "share_below")
		t.row(h.N, h.Cut, h.Share, h.Below)
		r.note("A cut score is a decision of people; it passes and fails nobody by itself.")
		return r, nil
	})
}

type statsCredit struct {
	statsFile
	Panels int    `help:"Resampled panels." default:"2000"`
	Seed   uint64 `help:"Seed of the resampling." default:"1"`
}

// Run scores the choices by the panel.
func (c *statsCredit) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "credit"}
		ids, err := d.text("choice")
		if err != nil {
			return r, err
		}
		votes, err := d.wholes("votes")
		if err != nil {
			return r, err
		}
		var p credit.Panel
		for i, id := range ids {
			p = append(p, credit.Choice{ID: id, Votes: votes[i]})
		}
		spread, err := p.Resample(c.Panels, c.Seed)
		if err != nil {
			return r, err
		}
		t := r.table("credit", "choice", "votes", "credit", "error", "low", "high")
		for i, s := range spread {
			t.row(s.ID, votes[i], s.Credit, s.Error, s.Low, s.High)
		}
		r.note("The error is the scatter of the credit over other panels of this size, drawn from these votes; low and high hold 95 %% of them.")
		return r, nil
	})
}
