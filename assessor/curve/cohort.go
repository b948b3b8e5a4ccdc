package curve

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"zonule/assessor/mixed"
)

// Trainee is one trainee's series. Name is an id that only comes back.
type Trainee struct {
	Name   string
	Points []Point
}

// Cohort is a learning curve over trainees: y = A + (S - A) exp(-k x), with plateau A, start S (at
// x = 0) and ln k normal over trainees, and normal scatter of single drills. It carries what all
// share and how far trainees differ, so that one trainee's few drills can be read with it.
type Cohort struct {
	Plateau, Start, LogRate                float64 // what trainees share (means)
	PlateauError, StartError, LogRateError float64
	Between                                [3]float64    // standard deviation between trainees of plateau, start and ln k
	Correlation                            [3][3]float64 // between trainees; 0 off the diagonal unless asked for
	Sigma                                  float64       // scatter of a single drill
	LogLik, AIC, BIC                       float64
	Trainees, Drills                       int
	Correlated                             bool

	fit *mixed.NonlinearFit
}

// approachLog is the cohort's curve: A, S, ln k.
var approachLog = family{3, func(p []float64, x float64, slope []float64) float64 {
	k := math.Exp(p[2])
	e := math.Exp(-k * x)
	slope[0], slope[1] = 1-e, e
	if slope[2] = -(p[1] - p[0]) * e * k * x; math.IsNaN(slope[2]) {
		slope[2] = 0 // e has gone to 0 before k to infinity
	}
	return p[0] + (p[1]-p[0])*e
}}

// Fewest trainees and drills of a cohort: with fewer the spread between trainees is a guess.
const (
	fewestTrainees = 5
	fewestEach     = 3 // drills each on average
	// mostRefined is the number of drills beyond which the cohort's errors are those of the linearised
	// model: refining them would take minutes, for a cohort that is known well.
	mostRefined = 50_000
)

// FitCohort fits the curve over a cohort. Trainees may have any number of drills, none included;
// x counts drills from 0 or 1, for all alike. correlated lets plateau, start and rate vary together,
// which takes many trainees (20 or more) to tell.
//
// Estimation is by maximum likelihood after Lindstrom and Bates 1990, refined by Laplace's
// approximation (package mixed; of more than 50,000 drills not refined). Errors: a
// *NotYet with fewer than 5 trainees with drills, fewer than 3 drills each on average, no rise to
// follow, or a search that does not settle; values that are not finite.
func FitCohort(trainees []Trainee, correlated bool) (*Cohort, error) {
	subjects, all, err := cohortReady(trainees)
	if err != nil {
		return nil, err
	}
	x, y, err := ready(all)
	if err != nil {
		return nil, err
	}
	rate, from, err := startRate(x, y, slowest/span(x), fastest/span(x), freely)
	if err != nil {
		var not *NotYet
		if errors.As(err, &not) {
			return nil, &NotYet{not.More, "over all trainees, " + not.Reason}
		}
		return nil, err
	}
	start := []float64{from.plateau, from.plateau - from.gap, math.Log(rate)}
	function := mixed.Function{P: approachLog.p, Value: approachLog.value}
	fit, err := mixed.Nonlinear(function, subjects, start, mixed.NonlinearOptions{Random: []int{0, 1, 2}, Diagonal: !correlated})
	if err != nil {
		return nil, &NotYet{again(len(all)), "the cohort's curve could not be told: " + err.Error()}
	}
	if len(all) > mostRefined {
		return cohortOf(fit, correlated), nil
	}
	refined, err := fit.Refine(subjects)
	if err != nil {
		return nil, &NotYet{again(len(all)), "the cohort's curve could not be told: " + err.Error()}
	}
	return cohortOf(refined, correlated), nil
}

func cohortReady(trainees []Trainee) ([]mixed.Subject, []Point, error) {
	var subjects []mixed.Subject
	var all []Point
	for _, t := range trainees {
		if len(t.Points) == 0 {
			continue
		}
		s := mixed.Subject{Name: t.Name}
		for _, p := range t.Points {
			s.X, s.Y = append(s.X, p.X), append(s.Y, p.Y)
		}
		subjects, all = append(subjects, s), append(all, t.Points...)
	}
	if more := fewestTrainees - len(subjects); more > 0 {
		return nil, nil, &NotYet{more * fewestEach, fmt.Sprintf("a cohort's curve needs at least %d trainees with drills, there are %d", fewestTrainees, len(subjects))}
	}
	if more := fewestEach*len(subjects) - len(all); more > 0 {
		return nil, nil, &NotYet{more, fmt.Sprintf("a cohort's curve needs %d drills from each trainee on average", fewestEach)}
	}
	return subjects, all, nil
}

func cohortOf(fit *mixed.NonlinearFit, correlated bool) *Cohort {
	c := &Cohort{
		Plateau: fit.Fixed[0], Start: fit.Fixed[1], LogRate: fit.Fixed[2],
		PlateauError: fit.Errors[0], StartError: fit.Errors[1], LogRateError: fit.Errors[2],
		Sigma: fit.Sigma, LogLik: fit.LogLik, AIC: fit.AIC, BIC: fit.BIC,
		Trainees: len(fit.Effects), Drills: fit.N, Correlated: correlated, fit: fit,
	}
	for i := range 3 {
		c.Between[i] = math.Sqrt(fit.Random[i][i])
	}
	for i := range 3 {
		for j := range 3 {
			if c.Correlation[i][j] = fit.Random[i][j] / c.Between[i] / c.Between[j]; !finite(c.Correlation[i][j]) {
				c.Correlation[i][j] = 0
			}
		}
		c.Correlation[i][i] = 1
	}
	return c
}

// Intervals gives those of the shared plateau, start and ln rate at a confidence level (0.95 for
// 95 %; it is an error outside 0..1).
func (c *Cohort) Intervals(level float64) ([3]Range, error) {
	var out [3]Range
	if err := checkLevel(level); err != nil {
		return out, err
	}
	t := c.quantile(level)
	for i, v := range [3][2]float64{{c.Plateau, c.PlateauError}, {c.Start, c.StartError}, {c.LogRate, c.LogRateError}} {
		out[i] = Range{v[0] - t*v[1], v[0] + t*v[1]}
	}
	return out, nil
}

// String gives what trainees share and how far they differ.
func (c *Cohort) String() string {
	return fmt.Sprintf("plateau %.4g (standard error %.2g, between trainees %.2g), start %.4g (%.2g, %.2g), ln rate %.3g (%.2g, %.2g), scatter %.3g, from %d drills of %d trainees",
		c.Plateau, c.PlateauError, c.Between[0], c.Start, c.StartError, c.Between[1], c.LogRate, c.LogRateError, c.Between[2], c.Sigma, c.Drills, c.Trainees)
}

// Placed is one trainee on the cohort's curve.
type Placed struct {
	Plateau, Start, LogRate float64
	Errors                  [3]float64 // of the three, given drills and cohort
	// Own is, for plateau, start and ln rate, the share of the spread between trainees that the
	// trainee's own drills have settled, 0..1.
	Own    [3]float64
	Drills int
	cohort *Cohort
	last   float64
	placed mixed.Placed
}

// Place reads one trainee's drills with the cohort: each of plateau, start and rate is drawn towards
// the cohort by as much as the drills leave open. With no drills it is the cohort's own curve. It is
// an error when a value is not finite, x is negative, or the search does not settle.
func (c *Cohort) Place(points []Point) (*Placed, error) {
	var x, y []float64
	last := 0.0
	for _, p := range points {
		if !finite(p.X) || !finite(p.Y) || p.X < 0 {
			return nil, fmt.Errorf("drill at x = %g with value %g: both must be finite numbers and x at least 0", p.X, p.Y)
		}
		x, y, last = append(x, p.X), append(y, p.Y), math.Max(last, p.X)
	}
	placed, err := c.fit.Place(x, y)
	if err != nil {
		return nil, fmt.Errorf("the trainee's drills could not be read with the cohort: %w", err)
	}
	p := &Placed{Plateau: placed.Par[0], Start: placed.Par[1], LogRate: placed.Par[2], Drills: len(points), cohort: c, last: last, placed: placed}
	for i := range 3 {
		p.Errors[i] = math.Sqrt(placed.Cov[i][i])
		p.Own[i] = placed.Own[i]
	}
	return p, nil
}

// at is the trainee's mean and its standard error at x, by the delta method.
func (p *Placed) at(x float64) (mean, se float64) {
	slope := make([]float64, 3)
	mean = approachLog.value(p.placed.Par, x, slope)
	sum := 0.0
	for i, a := range slope {
		for j, b := range slope {
			sum += a * b * p.placed.Cov[i][j]
		}
	}
	return mean, math.Sqrt(math.Max(sum, 0))
}

// At gives the trainee's own mean at each x with a band at a confidence level (0.95 for 95 %; NaN
// outside 0..1). Bands take the spread between trainees as known: with few trainees they are
// somewhat narrow.
func (p *Placed) At(level float64, xs ...float64) []Estimate { return p.band(level, 0, xs) }

// Drill gives the band in which one further drill at each x is expected.
func (p *Placed) Drill(level float64, xs ...float64) []Estimate {
	return p.band(level, p.cohort.Sigma*p.cohort.Sigma, xs)
}

func (p *Placed) band(level, scatter float64, xs []float64) []Estimate {
	t := math.NaN()
	if checkLevel(level) == nil {
		t = p.cohort.quantile(level)
	}
	out := make([]Estimate, len(xs))
	for i, x := range xs {
		y, se := p.at(x)
		half := t * math.Sqrt(se*se+scatter)
		out[i] = Estimate{x, y, y - half, y + half}
	}
	return out
}

// quantile is Student's t with as many degrees of freedom as there are trainees less the means
// they gave: a plain allowance for the spread between trainees being estimated too.
func (c *Cohort) quantile(level float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: math.Max(2, float64(c.Trainees-3))}.Quantile((1 + level) / 2)
}

// Needed forecasts when the trainee's mean meets a standard, as [Curve.Needed] does for a curve of
// the trainee's own. Own of the forecast says how much of it is the trainee's: the share of the
// cohort's uncertainty about the curve at the forecast drill that the trainee's drills removed.
func (p *Placed) Needed(standard, level float64) (Forecast, error) {
	if err := checkLevel(level); err != nil {
		return Forecast{}, err
	}
	if !finite(standard) {
		return Forecast{}, fmt.Errorf("the standard %g is not a finite number", standard)
	}
	t := p.cohort.quantile(level)
	f := forecast(standard, p.Plateau > p.Start, p.last, func(x float64) (float64, float64) {
		mean, se := p.at(x)
		return mean, t * se
	})
	f.Confidence = level
	none, err := p.cohort.Place(nil)
	if err != nil {
		return Forecast{}, err
	}
	at := float64(f.At)
	if !f.Reached {
		at = p.last + 1
	}
	_, mine := p.at(at)
	if _, theirs := none.at(at); theirs > 0 {
		f.Own = math.Min(1-1e-9, math.Max(0, 1-mine*mine/(theirs*theirs)))
	}
	return f, nil
}

// String says where the trainee stands and how much of it is the cohort's.
func (p *Placed) String() string {
	s := fmt.Sprintf("plateau %.4g (standard error %.2g), start %.4g (%.2g), ln rate %.3g (%.2g)", p.Plateau, p.Errors[0], p.Start, p.Errors[1], p.LogRate, p.Errors[2])
	if p.Drills == 0 {
		return s + "; no drills yet: this is the cohort's curve"
	}
	drills := "drills"
	if p.Drills == 1 {
		drills = "drill"
	}
	return fmt.Sprintf("%s; %d own %s settle %.0f %% of the plateau, %.0f %% of the start and %.0f %% of the rate, the rest is the cohort's", s, p.Drills, drills, 100*p.Own[0], 100*p.Own[1], 100*p.Own[2])
}
