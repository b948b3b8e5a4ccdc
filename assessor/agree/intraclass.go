package agree

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coefficient is one intraclass correlation with the F test that it is 0 and its interval.
type Coefficient struct {
	Name      string  // "ICC(1,1)" ... "ICC(3,k)"
	Meaning   string  // in words
	Value     float64 // at most 1; may be below 0
	F         float64
	DF1, DF2  float64 // degrees of freedom of F
	P         float64 // one-sided p value of F
	Low, High float64 // two-sided interval at the level asked for
}

// Correlations is the analysis of a complete table of ratings.
type Correlations struct {
	Targets, Raters                           int
	BetweenMS, WithinMS, RatersMS, ResidualMS float64 // mean squares, in squared units of the score
	Level                                     float64 // confidence level of the intervals
	Coefficients                              []Coefficient
	NotDefined                                []string // names of the six that these ratings leave undefined
}

// Intraclass computes the six intraclass correlations of Shrout and Fleiss 1979 (Psychol Bull
// 86:420-8) from scores[target][rater], every cell filled, at the two-sided confidence level
// (0.95 for 95 %).
//
// Models: (1,.) each target has its own raters, one-way random effects; (2,.) the same raters,
// drawn at random, rate every target, absolute agreement; (3,.) these raters and no others,
// consistency. (.,1) is the reliability of one rating, (.,k) that of the mean of all k. Effects
// and errors are taken to be normal and independent, with one error variance.
//
// Intervals are exact for (1,.) and (3,.), by the approximation of Shrout and Fleiss
// (Satterthwaite) for (2,1), and the Spearman-Brown transform of that for (2,k). A coefficient
// whose interval is not defined (hardly any targets, or targets more alike than chance would make
// them) is left out and named in NotDefined.
//
// It is an error when a cell is empty or not finite, when rows differ in length, and when the
// scores leave no residual variation (the raters differ by constants at most). Fewer than two
// targets or raters is a [NotYet].
func Intraclass(scores [][]float64, level float64) (*Correlations, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	if err := rectangle(scores, false); err != nil {
		return nil, err
	}
	c, err := meanSquares(scores)
	if err != nil {
		return nil, err
	}
	c.Level = level
	n, k := float64(c.Targets), float64(c.Raters)
	b, w, j, e := c.BetweenMS, c.WithinMS, c.RatersMS, c.ResidualMS
	c.oneWay(n, k, b/w)
	c.absolute(n, k)
	c.add("ICC(3,1)", "consistency, these raters, one rating", (b-e)/(b+(k-1)*e), c.consistency(n, k, b/e, func(f float64) float64 { return (f - 1) / (f + k - 1) }))
	c.add("ICC(1,k)", "absolute, each target its own raters, mean of k", (b-w)/b, c.ofF(b/w, n-1, n*(k-1), meanOf))
	single, ok := c.named("ICC(2,1)")
	if ok {
		boost := func(r float64) float64 { return k * r / (1 + (k-1)*r) }
		mean := single
		mean.Low, mean.High = boost(single.Low), boost(single.High)
		if 1+(k-1)*single.Low <= 0 {
			mean.Low = math.NaN()
		}
		c.add("ICC(2,k)", "absolute agreement, raters at random, mean of k", (b-e)/(b+(j-e)/n), mean)
	} else {
		c.NotDefined = append(c.NotDefined, "ICC(2,k)")
	}
	c.add("ICC(3,k)", "consistency, these raters, mean of k", (b-e)/b, c.consistency(n, k, b/e, meanOf))
	return c, nil
}

// meanOf turns a limit of F into one of the reliability of a mean.
func meanOf(f float64) float64 { return 1 - 1/f }

// add keeps a coefficient whose numbers are all defined, and otherwise its name.
func (c *Correlations) add(name, meaning string, value float64, with Coefficient) {
	with.Name, with.Meaning, with.Value = name, meaning, value
	if !finite(value, with.F, with.DF1, with.DF2, with.P, with.Low, with.High) {
		c.NotDefined = append(c.NotDefined, name)
		return
	}
	c.Coefficients = append(c.Coefficients, with)
}

func (c *Correlations) named(name string) (Coefficient, bool) {
	for _, x := range c.Coefficients {
		if x.Name == name {
			return x, true
		}
	}
	return Coefficient{}, false
}

// ofF is the test of F and the exact interval that its limits give through a transform.
func (c *Correlations) ofF(f, df1, df2 float64, to func(float64) float64) Coefficient {
	out := Coefficient{F: f, DF1: df1, DF2: df2, P: math.NaN(), Low: math.NaN(), High: math.NaN()}
	if !finite(f) || f <= 0 {
		return out
	}
	upper := (1 + c.Level) / 2
	out.P = distuv.F{D1: df1, D2: df2}.Survival(f)
	out.Low = to(f / quantileF(upper, df1, df2))
	out.High = to(f * quantileF(upper, df2, df1))
	return out
}

func (c *Correlations) oneWay(n, k, f float64) {
	b, w := c.BetweenMS, c.WithinMS
	c.add("ICC(1,1)", "absolute, each target its own raters, one rating", (b-w)/(b+(k-1)*w),
		c.ofF(f, n-1, n*(k-1), func(f float64) float64 { return (f - 1) / (f + k - 1) }))
}

func (c *Correlations) consistency(n, k, f float64, to func(float64) float64) Coefficient {
	return c.ofF(f, n-1, (n-1)*(k-1), to)
}

// absolute is ICC(2,1), with the approximate degrees of freedom of Shrout and Fleiss 1979.
func (c *Correlations) absolute(n, k float64) {
	b, j, e := c.BetweenMS, c.RatersMS, c.ResidualMS
	rho := (b - e) / (b + (k-1)*e + k*(j-e)/n)
	with := c.consistency(n, k, b/e, meanOf)
	fj := j / e
	rest := n*(1+(k-1)*rho) - k*rho
	top := k*rho*fj + rest
	df := (k - 1) * (n - 1) * top * top / ((n-1)*k*k*rho*rho*fj*fj + rest*rest)
	upper := (1 + c.Level) / 2
	with.Low, with.High = math.NaN(), math.NaN()
	if finite(df) && df >= 1 { // below that the approximation means nothing
		fu := quantileF(upper, n-1, df)
		fl := quantileF(upper, df, n-1)
		spread := k*j + (k*n-k-n)*e
		with.Low = n * (b - fu*e) / (fu*spread + n*b)
		with.High = n * (fl*b - e) / (spread + n*fl*b)
	}
	if !(with.Low <= rho && rho <= with.High) {
		with.Low = math.NaN()
	}
	c.add("ICC(2,1)", "absolute agreement, raters at random, one rating", rho, with)
}

// rectangle checks scores[row][column]: at least 2 by 2, rows of one length, every score usable.
func rectangle(scores [][]float64, missing bool) error {
	if err := atLeast(2, len(scores), "targets", "agreement shows only in targets that differ"); err != nil {
		return err
	}
	for t, row := range scores {
		if len(row) != len(scores[0]) {
			return fmt.Errorf("target %d has %d ratings and target 1 has %d: give every target one cell for each rater", t+1, len(row), len(scores[0]))
		}
		for r, v := range row {
			if err := checkScore(v, missing, fmt.Sprintf("target %d, rater %d", t+1, r+1)); err != nil {
				return err
			}
		}
	}
	return atLeast(2, len(scores[0]), "raters", "one rater alone shows no agreement")
}

// meanSquares is the two-way analysis of variance of a complete table with one score in a cell.
func meanSquares(scores [][]float64) (*Correlations, error) {
	n, k := len(scores), len(scores[0])
	grand, scale := 0.0, 0.0
	for _, row := range scores {
		for _, v := range row {
			grand += v / float64(n*k)
		}
	}
	rows, columns := make([]float64, n), make([]float64, k)
	for t, row := range scores {
		for r, v := range row {
			rows[t] += (v - grand) / float64(k)
			columns[r] += (v - grand) / float64(n)
			scale = math.Max(scale, math.Abs(v))
		}
	}
	var between, within, raters, residual float64
	for t, row := range scores {
		between += float64(k) * rows[t] * rows[t]
		for r, v := range row {
			d := v - grand
			within += (d - rows[t]) * (d - rows[t])
			residual += (d - rows[t] - columns[r]) * (d - rows[t] - columns[r])
		}
	}
	for _, v := range columns {
		raters += float64(n) * v * v
	}
	if between+within <= float64(n*k)*1e-24*scale*scale {
		return nil, errors.New("every score is the same: scores that do not differ show no agreement and no disagreement")
	}
	if residual <= 1e-20*(between+within) {
		return nil, errors.New("the raters differ by constants at most, so no error is left to measure: agreement is perfect in these scores, and no interval can be given; rate more targets")
	}
	df := float64(n-1) * float64(k-1)
	return &Correlations{Targets: n, Raters: k,
		BetweenMS: between / float64(n-1), WithinMS: within / float64(n*(k-1)),
		RatersMS: raters / float64(k-1), ResidualMS: residual / df}, nil
}
