package main

import (
	"fmt"

	"zonule/assessor/cusum"
)

// statsRates set up a chart of drills met or missed.
type statsRates struct {
	Adequate    float64 `help:"Failure rate of an adequate trainee." default:"0.10"`
	Inadequate  float64 `help:"Failure rate of an inadequate trainee." default:"0.25"`
	Drills      int     `help:"Drills over which the probabilities are stated." default:"50"`
	FalseSignal float64 `help:"Probability of a false signal within them, at most." default:"0.05"`
	Limit       float64 `help:"Use this limit instead of one found for the probability." placeholder:"H"`
}

// failures reads the column met as failures.
func (d statsData) failures() ([]bool, error) {
	met, err := d.truths("met")
	for i := range met {
		met[i] = !met[i]
	}
	return met, err
}

// charted writes a chart, its run lengths and its path.
func charted(r *statsResult, adequate, inadequate, h, falseSignal, trueSignal float64, drills int, arl func(float64) float64, path cusum.Path, failures []bool) {
	t := r.table("chart", "limit", "adequate", "inadequate", "drills", "false_signal", "true_signal", "arl_adequate", "arl_inadequate")
	t.row(h, adequate, inadequate, drills, falseSignal, trueSignal, arl(adequate), arl(inadequate))
	t = r.table("path", "drill", "met", "score", "signal")
	for i, s := range path.Scores {
		t.row(i+1, !failures[i], s, path.Signal == i+1)
	}
	if path.Signal == 0 {
		r.note("No signal in %d drills.", len(failures))
	} else {
		r.note("First signal at drill %d.", path.Signal)
	}
	r.note("A signal is evidence for a supervisor to weigh. It passes nobody and fails nobody.")
}

type statsLCCUSUM struct {
	statsFile
	statsRates
}

// Run draws the learning-curve chart.
func (c *statsLCCUSUM) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "lc-cusum"}
		failures, err := d.failures()
		if err != nil {
			return r, err
		}
		chart, err := cusum.Limit(c.Adequate, c.Inadequate, c.Drills, c.FalseSignal)
		if c.Limit != 0 {
			chart, err = cusum.New(c.Adequate, c.Inadequate, c.Limit, c.Drills)
		}
		if err != nil {
			return r, err
		}
		r.note("The chart begins by taking the trainee as not yet adequate: %v.", chart)
		charted(&r, chart.Adequate, chart.Inadequate, chart.H, chart.FalseSignal, chart.TrueSignal, chart.Drills, chart.ARL, chart.Follow(failures), failures)
		return r, nil
	})
}

type statsBernoulli struct {
	statsFile
	statsRates
}

// Run draws the chart against deterioration.
func (c *statsBernoulli) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "bernoulli-cusum"}
		failures, err := d.failures()
		if err != nil {
			return r, err
		}
		chart, err := cusum.LimitBernoulli(c.Adequate, c.Inadequate, c.Drills, c.FalseSignal)
		if c.Limit != 0 {
			chart, err = cusum.NewBernoulli(c.Adequate, c.Inadequate, c.Limit, c.Drills)
		}
		if err != nil {
			return r, err
		}
		r.note("The chart begins by taking the trainee as adequate: %v.", chart)
		charted(&r, chart.Adequate, chart.Inadequate, chart.H, chart.FalseSignal, chart.TrueSignal, chart.Drills, chart.ARL, chart.Follow(failures), failures)
		return r, nil
	})
}

type statsRiskCUSUM struct {
	statsFile
	Odds        float64 `help:"Odds multiplier to be found; under 1 looks for improvement." default:"2"`
	Cases       int     `help:"Cases over which the probability is stated." default:"200"`
	FalseSignal float64 `help:"Probability of a false signal within them, at most." default:"0.05"`
	Limit       float64 `help:"Use this limit instead of one found for the probability." placeholder:"H"`
}

// Run draws the risk-adjusted chart; its probabilities are for a mix of cases as in the data.
func (c *statsRiskCUSUM) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "risk-cusum"}
		risks, err := d.numbers("risk")
		if err != nil {
			return r, err
		}
		failed, err := d.truths("failed")
		if err != nil {
			return r, err
		}
		mix, err := cusum.MixOf(risks)
		if err != nil {
			return r, err
		}
		chart := cusum.RiskAdjusted{Null: 1, Alternative: c.Odds, H: c.Limit}
		if c.Limit == 0 {
			if chart, err = cusum.LimitRiskAdjusted(1, c.Odds, mix, c.Cases, c.FalseSignal); err != nil {
				return r, err
			}
		}
		falsely, err := chart.Within(mix, 1, c.Cases)
		if err != nil {
			return r, err
		}
		truly, err := chart.Within(mix, c.Odds, c.Cases)
		if err != nil {
			return r, err
		}
		t := r.table("chart", "limit", "odds", "cases", "false_signal", "true_signal", "arl_adequate", "arl_changed")
		adequate, err1 := chart.ARL(mix, 1)
		changed, err2 := chart.ARL(mix, c.Odds)
		t.row(chart.H, c.Odds, c.Cases, falsely, truly, when(err1 == nil, adequate), when(err2 == nil, changed))
		trace, err := chart.Follow(risks, failed)
		if err != nil {
			return r, err
		}
		t = r.table("path", "case", "risk", "failed", "weight", "score", "expected_less_observed", "signal")
		for i := range risks {
			t.row(i+1, risks[i], failed[i], trace.Weights[i], trace.Scores[i], trace.Excess[i], trace.Signal == i+1)
		}
		r.note("Probabilities and run lengths are for cases drawn at random from those of the data, to about 0.1 %%.")
		if trace.Signal == 0 {
			r.note("No signal in %d cases.", len(risks))
		} else {
			r.note("First signal at case %d.", trace.Signal)
		}
		return r, nil
	})
}

// statsMeasure set up a chart of a measure.
type statsMeasure struct {
	Drills      int     `help:"Measures over which the probability is stated." default:"50"`
	FalseSignal float64 `help:"Probability of a false signal within them." default:"0.05"`
	Target      float64 `help:"Mean on target, taken off every value." default:"0"`
	Deviation   float64 `help:"Standard deviation on target, by which every value is divided." default:"1"`
}

func (c statsMeasure) values(d statsData) ([]float64, error) {
	x, err := d.numbers("x")
	if err == nil && !(c.Deviation > 0) {
		err = fmt.Errorf("a standard deviation of %g cannot be: give a number above 0", c.Deviation)
	}
	for i := range x {
		x[i] = (x[i] - c.Target) / c.Deviation
	}
	return x, err
}

type statsCUSUM struct {
	statsFile
	statsMeasure
	K        float64 `help:"Allowance: half the shift to be found, in standard deviations." default:"0.5"`
	OneSided bool    `help:"Look for rises alone."`
	Limit    float64 `help:"Use this limit instead of one found for the probability." placeholder:"H"`
}

// Run draws the CUSUM of a measure.
func (c *statsCUSUM) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "cusum"}
		x, err := c.values(d)
		if err != nil {
			return r, err
		}
		chart := cusum.Normal{K: c.K, H: c.Limit, TwoSided: !c.OneSided}
		if c.Limit == 0 {
			if chart, err = cusum.LimitNormal(c.K, !c.OneSided, c.Drills, c.FalseSignal); err != nil {
				return r, err
			}
		}
		falsely, err := chart.Within(0, c.Drills)
		if err != nil {
			return r, err
		}
		upper, lower, signal, err := chart.Follow(x)
		if err != nil {
			return r, err
		}
		arl0, err1 := chart.ARL(0)
		arl1, err2 := chart.ARL(2 * c.K)
		t := r.table("chart", "limit", "k", "drills", "false_signal", "arl_on_target", "arl_shifted")
		t.row(chart.H, chart.K, c.Drills, falsely, when(err1 == nil, arl0), when(err2 == nil, arl1))
		t = r.table("path", "number", "value", "upper", "lower", "signal")
		for i := range x {
			low := any(nil)
			if lower != nil {
				low = lower[i]
			}
			t.row(i+1, x[i], upper[i], low, signal == i+1)
		}
		return r, nil
	})
}

type statsEWMA struct {
	statsFile
	statsMeasure
	Lambda float64 `help:"Weight of the newest measure." default:"0.2"`
	Fixed  bool    `help:"Limits of a long series from the start, instead of widening ones."`
	Width  float64 `help:"Use limits of this many standard deviations instead of ones found for the probability." placeholder:"L"`
}

// Run draws the moving average.
func (c *statsEWMA) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "ewma"}
		x, err := c.values(d)
		if err != nil {
			return r, err
		}
		chart := cusum.EWMA{Lambda: c.Lambda, L: c.Width, Varying: !c.Fixed}
		if c.Width == 0 {
			if chart, err = cusum.LimitEWMA(c.Lambda, !c.Fixed, c.Drills, c.FalseSignal); err != nil {
				return r, err
			}
		}
		falsely, err := chart.Within(0, c.Drills)
		if err != nil {
			return r, err
		}
		z, signal, err := chart.Follow(x)
		if err != nil {
			return r, err
		}
		arl, err1 := chart.ARL(0)
		t := r.table("chart", "width", "lambda", "drills", "false_signal", "arl_on_target")
		t.row(chart.L, chart.Lambda, c.Drills, falsely, when(err1 == nil, arl))
		t = r.table("path", "number", "value", "average", "limit", "signal")
		for i := range x {
			t.row(i+1, x[i], z[i], chart.Limit(i+1), signal == i+1)
		}
		return r, nil
	})
}

type statsCUSUMARL struct{ statsFile }

// Run computes run lengths of charts, one a row.
func (c *statsCUSUMARL) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "cusum-arl"}
		var v [5][]float64
		for i, name := range []string{"k", "h", "headstart", "sides", "shift"} {
			var err error
			if v[i], err = d.numbers(name); err != nil {
				return r, err
			}
		}
		t := r.table("run lengths", "k", "h", "headstart", "sides", "shift", "arl")
		for i := range v[0] {
			if v[3][i] != 1 && v[3][i] != 2 {
				return r, fmt.Errorf("row %d: a chart has 1 or 2 sides, not %g", i+1, v[3][i])
			}
			arl, err := cusum.Normal{K: v[0][i], H: v[1][i], HeadStart: v[2][i], TwoSided: v[3][i] == 2}.ARL(v[4][i])
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			t.row(v[0][i], v[1][i], v[2][i], int(v[3][i]), v[4][i], arl)
		}
		return r, nil
	})
}

type statsEWMAARL struct{ statsFile }

// Run computes run lengths of charts, one a row.
func (c *statsEWMAARL) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "ewma-arl"}
		var v [3][]float64
		for i, name := range []string{"lambda", "l", "shift"} {
			var err error
			if v[i], err = d.numbers(name); err != nil {
				return r, err
			}
		}
		varying, err := d.truths("varying")
		if err != nil {
			return r, err
		}
		t := r.table("run lengths", "lambda", "l", "varying", "shift", "arl")
		for i := range v[0] {
			arl, err := cusum.EWMA{Lambda: v[0][i], L: v[1][i], Varying: varying[i]}.ARL(v[2][i])
			if err != nil {
				return r, fmt.Errorf("row %d: %w", i+1, err)
			}
			t.row(v[0][i], v[1][i], varying[i], v[2][i], arl)
		}
		return r, nil
	})
}
