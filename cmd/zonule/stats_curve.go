package main

import (
	"math"

	learning "zonule/assessor/curve" // the package has a function of its own called curve
	"zonule/assessor/mixed"
)

type statsCurve struct {
	statsFile
	statsLevel
	Shape    string    `help:"exponential, power or logistic." enum:"exponential,power,logistic" default:"exponential"`
	Start    []float64 `help:"Where to start the search: three numbers. Otherwise the best of a grid." placeholder:"A,B,C"`
	Standard *float64  `help:"The standard to forecast the drills for (exponential and power)." placeholder:"Y"`
}

// Run fits the curve, as a statistician reads it; the forecast as a trainee is shown it.
func (c *statsCurve) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "curve"}
		x, err := d.numbers("x")
		if err != nil {
			return r, err
		}
		y, err := d.numbers("y")
		if err != nil {
			return r, err
		}
		points := make([]learning.Point, len(x))
		for i := range x {
			points[i] = learning.Point{X: x[i], Y: y[i]}
		}
		shape, err := learning.ParseShape(c.Shape)
		if err != nil {
			return r, err
		}
		e, err := learning.LeastSquares(shape, points, c.Start)
		if err != nil {
			return r, err
		}
		wald, err := e.Wald(c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("parameters", "parameter", "estimate", "error", "wald_low", "wald_high", "profile_low", "profile_high")
		for j, name := range shape.Parameters() {
			low, high := any(nil), any(nil)
			if p, err := e.Profile(j, c.Level); err != nil {
				r.note("No profile interval of the %s: %v.", name, err)
			} else {
				low, high = p.Low, p.High
			}
			t.row(name, e.Parameters[j], e.Errors[j], wald[j].Low, wald[j].High, low, high)
		}
		t = r.table("fit", "drills", "df", "rss", "sigma", "log_likelihood", "aic", "bic")
		t.row(e.N, e.DF, e.RSS, e.Sigma, e.LogLik, e.AIC, e.BIC)
		if c.Standard != nil {
			return r, c.forecast(&r, shape, points)
		}
		return r, nil
	})
}

func (c *statsCurve) forecast(r *statsResult, shape learning.Shape, points []learning.Point) error {
	fit := learning.Fit
	switch shape {
	case learning.Power:
		fit = learning.FitPower
	case learning.Logistic:
		r.note("No forecast is made from a logistic curve.")
		return nil
	}
	shown, err := fit(points)
	if err != nil {
		r.note("No forecast: %v.", err)
		return nil
	}
	f, err := shown.Needed(*c.Standard, c.Level)
	if err != nil {
		return err
	}
	forecastTable(r, "", f)
	r.note("Forecast: %v.", f)
	return nil
}

// forecastTable adds one forecast, under a trainee's name if there is one.
func forecastTable(r *statsResult, name string, f learning.Forecast) {
	if len(r.Tables) == 0 || r.Tables[len(r.Tables)-1].Name != "forecast" {
		r.table("forecast", "trainee", "standard", "reached", "at_drill", "more_drills", "low", "high", "own_share")
	}
	r.Tables[len(r.Tables)-1].row(when(name != "", name), f.Standard, f.Reached, when(f.Reached, f.At), when(f.Reached, f.More()), when(f.LowKnown, f.Low), when(f.HighKnown, f.High), f.Own)
}

// byTrainee reads trainee, x, and a third column's numbers, trainees in order of appearance.
func (d statsData) byTrainee(third string) (names []string, x, y [][]float64, err error) {
	who, err := d.text("trainee")
	if err != nil {
		return nil, nil, nil, err
	}
	xs, err := d.numbers("x")
	if err != nil {
		return nil, nil, nil, err
	}
	ys := make([]float64, len(xs))
	if third == "met" {
		met, err := d.truths("met")
		if err != nil {
			return nil, nil, nil, err
		}
		for i, m := range met {
			if m {
				ys[i] = 1
			}
		}
	} else if ys, err = d.numbers(third); err != nil {
		return nil, nil, nil, err
	}
	at := map[string]int{}
	for i, w := range who {
		g, ok := at[w]
		if !ok {
			g = len(names)
			at[w] = g
			names, x, y = append(names, w), append(x, nil), append(y, nil)
		}
		x[g], y[g] = append(x[g], xs[i]), append(y[g], ys[i])
	}
	return names, x, y, nil
}

type statsMixedCurve struct {
	statsFile
	statsLevel
	Correlated bool     `help:"Let plateau, start and rate vary together; takes many trainees."`
	Standard   *float64 `help:"The standard to forecast each trainee's drills for." placeholder:"Y"`
}

// Run fits the cohort and places every trainee on it.
func (c *statsMixedCurve) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "mixed-curve"}
		names, x, y, err := d.byTrainee("y")
		if err != nil {
			return r, err
		}
		trainees := make([]learning.Trainee, len(names))
		for g, name := range names {
			trainees[g].Name = name
			for i := range x[g] {
				trainees[g].Points = append(trainees[g].Points, learning.Point{X: x[g][i], Y: y[g][i]})
			}
		}
		cohort, err := learning.FitCohort(trainees, c.Correlated)
		if err != nil {
			return r, err
		}
		intervals, err := cohort.Intervals(c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("cohort", "parameter", "mean", "error", "low", "high", "between_trainees")
		for i, v := range []struct {
			name        string
			mean, error float64
		}{{"plateau", cohort.Plateau, cohort.PlateauError}, {"start", cohort.Start, cohort.StartError}, {"ln rate", cohort.LogRate, cohort.LogRateError}} {
			t.row(v.name, v.mean, v.error, intervals[i].Low, intervals[i].High, cohort.Between[i])
		}
		if c.Correlated {
			t = r.table("correlations", "plateau_start", "plateau_ln_rate", "start_ln_rate")
			t.row(cohort.Correlation[0][1], cohort.Correlation[0][2], cohort.Correlation[1][2])
		}
		t = r.table("fit", "trainees", "drills", "sigma", "log_likelihood", "aic", "bic")
		t.row(cohort.Trainees, cohort.Drills, cohort.Sigma, cohort.LogLik, cohort.AIC, cohort.BIC)
		t = r.table("trainees", "trainee", "drills", "plateau", "error", "start", "start_error", "ln_rate", "ln_rate_error", "own_plateau", "own_start", "own_rate")
		placed := make([]*learning.Placed, len(trainees))
		for g, tr := range trainees {
			p, err := cohort.Place(tr.Points)
			if err != nil {
				return r, err
			}
			placed[g] = p
			t.row(tr.Name, p.Drills, p.Plateau, p.Errors[0], p.Start, p.Errors[1], p.LogRate, p.Errors[2], p.Own[0], p.Own[1], p.Own[2])
		}
		if c.Standard != nil {
			for g, p := range placed {
				f, err := p.Needed(*c.Standard, c.Level)
				if err != nil {
					return r, err
				}
				forecastTable(&r, names[g], f)
			}
		}
		r.note("y = A + (S - A) exp(-k x), plateau A, start S and ln k normal over trainees; maximum likelihood by Laplace's approximation.")
		r.note("Own shares say how much of each number the trainee's own drills have settled; the rest is drawn from the cohort. Trainees stand in the order of the data.")
		return r, nil
	})
}

type statsMixed struct {
	statsFile
	statsLevel
	ML        bool `name:"ml" help:"Maximum likelihood instead of restricted."`
	Diagonal  bool `help:"Intercept and slope vary independently."`
	Intercept bool `help:"Only the intercept varies between trainees."`
	Profile   bool `help:"Profile intervals as well."`
}

// Run fits the linear model.
func (c *statsMixed) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "mixed"}
		names, x, y, err := d.byTrainee("y")
		if err != nil {
			return r, err
		}
		groups := make([]mixed.Group, len(names))
		for g, name := range names {
			groups[g] = mixed.Group{Name: name, Y: y[g]}
			for _, v := range x[g] {
				row := []float64{1, v}
				groups[g].X = append(groups[g].X, row)
				if c.Intercept {
					row = row[:1]
				}
				groups[g].Z = append(groups[g].Z, row)
			}
		}
		f, err := mixed.Linear(groups, mixed.Options{ML: c.ML, Diagonal: c.Diagonal})
		if err != nil {
			return r, err
		}
		terms := []string{"intercept", "slope"}
		t := r.table("fixed", "term", "estimate", "error")
		for j, v := range f.Fixed {
			t.row(terms[j], v, f.Errors[j])
		}
		t = r.table("random", "term", "variance", "deviation")
		for j := range f.Random {
			t.row(terms[j], f.Random[j][j], math.Sqrt(f.Random[j][j]))
		}
		if len(f.Random) == 2 {
			t.row("covariance", f.Random[0][1], nil)
		}
		t.row("residual", f.Sigma*f.Sigma, f.Sigma)
		t = r.table("fit", "drills", "criterion", "log_likelihood", "aic", "bic")
		t.row(f.N, f.Criterion, f.LogLik, f.AIC, f.BIC)
		t = r.table("trainees", "trainee", "intercept", "intercept_error", "slope", "slope_error")
		for _, e := range f.Effects {
			row := []any{e.Name, e.B[0], math.Sqrt(e.Cov[0][0]), nil, nil}
			if len(e.B) == 2 {
				row[3], row[4] = e.B[1], math.Sqrt(e.Cov[1][1])
			}
			t.row(row...)
		}
		if c.Profile {
			intervals, err := f.Profile(c.Level)
			if err != nil {
				r.note("No profile intervals: %v.", err)
			}
			t = r.table("profile", "parameter", "low", "high")
			for _, i := range intervals {
				t.row(i.Parameter, i.Low, i.High)
			}
		}
		r.note("Trainees' numbers are departures from the fixed effects, with conditional errors.")
		return r, nil
	})
}

type statsMixedMet struct {
	statsFile
	Nodes int `help:"Quadrature nodes; 1 is Laplace's approximation." default:"25"`
}

// Run fits the binary model.
func (c *statsMixedMet) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "mixed-met"}
		names, x, y, err := d.byTrainee("met")
		if err != nil {
			return r, err
		}
		groups := make([]mixed.Counts, len(names))
		for g, name := range names {
			groups[g].Name = name
			for i, v := range x[g] {
				groups[g].X, groups[g].Met, groups[g].Trials = append(groups[g].X, []float64{1, v}), append(groups[g].Met, int(y[g][i])), append(groups[g].Trials, 1)
			}
		}
		f, err := mixed.Binomial(groups, c.Nodes)
		if err != nil {
			return r, err
		}
		t := r.table("fixed", "term", "estimate", "error")
		t.row("intercept", f.Fixed[0], f.Errors[0])
		t.row("slope", f.Fixed[1], f.Errors[1])
		t = r.table("fit", "between_trainees", "drills", "log_likelihood", "aic", "bic", "nodes")
		t.row(f.Between, f.N, f.LogLik, f.AIC, f.BIC, f.Nodes)
		t = r.table("trainees", "trainee", "intercept", "error")
		for _, e := range f.Effects {
			t.row(e.Name, e.B[0], math.Sqrt(e.Cov[0][0]))
		}
		r.note("Log odds of meeting it; trainees differ in the intercept.")
		return r, nil
	})
}
