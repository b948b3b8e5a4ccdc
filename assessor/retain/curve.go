package retain

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"zonule/assessor/logistic"
)

// Drill is one drill that showed the competency: the day, and whether it was met.
type Drill struct {
	Day float64 // days since any fixed day
	Met bool
}

// Trainee is one trainee's drills in one competency, in any order. Name is an id.
type Trainee struct {
	Name   string
	Drills []Drill
}

// Gap is what Fit learns from: a drill that met the competency, and the next one.
type Gap struct {
	Trainee string
	Days    float64
	Kept    bool // the next drill met it too
}

// Gaps lists the gaps of trainees in order of time. Drills of one day count in the order given. It is
// an error when a day is not a finite number.
func Gaps(trainees []Trainee) ([]Gap, error) {
	var out []Gap
	for _, t := range trainees {
		drills := append([]Drill(nil), t.Drills...)
		for i, d := range drills {
			if !(math.Abs(d.Day) <= mostDays*1000) {
				return nil, fmt.Errorf("trainee %s, drill %d: day %g is not a number of days", t.Name, i+1, d.Day)
			}
		}
		sort.SliceStable(drills, func(i, j int) bool { return drills[i].Day < drills[j].Day })
		for i := 1; i < len(drills); i++ {
			if drills[i-1].Met {
				out = append(out, Gap{t.Name, drills[i].Day - drills[i-1].Day, drills[i].Met})
			}
		}
	}
	return out, nil
}

// Curve is a fitted retention curve: the chance that a competency that was met is met again after a
// gap of d days is p with
//
//	ln(p/(1-p)) = Intercept - Decay ln(1+d).
//
// The odds of still meeting it thus fall as a power of the days, the usual form of forgetting curves
// (Wixted and Carpenter 2007, Psychol Sci 18:133-4, from memory), here for a yes or no.
type Curve struct {
	Intercept, Decay           float64
	InterceptError, DecayError float64 // between-trainee, see Fit
	Gaps, Trainees, Kept       int
	Longest                    float64 // longest gap seen, days

	covariance [][]float64 // of intercept and slope (= -Decay)
}

// Fewest gaps and trainees for a curve.
const (
	fewestGaps     = 20
	fewestTrainees = 4
	// known is how many standard errors the decay must stand above 0 for there to be a curve.
	known = 1.64
	// mostDays bounds forecasts: ten years.
	mostDays = 3650
)

// Fit estimates the curve from the gaps of trainees by logistic regression on ln(1+days). A
// trainee's own gaps may be alike, so standard errors are those between trainees (the sandwich of
// [logistic.Model.Clustered]), and need several.
//
// Assumptions: a gap's length has nothing to do with how well the trainee keeps things (who feels
// unsure and comes back early, or late, bends the curve), drills are of like difficulty, and the next
// drill stands for what is kept.
//
// Errors: a *NotYet with fewer than 20 gaps or 4 trainees, when all were kept or none, when gaps do
// not differ, or when no decay stands out from chance; days that are not finite.
func Fit(trainees []Trainee) (*Curve, error) {
	gaps, err := Gaps(trainees)
	if err != nil {
		return nil, err
	}
	return FitGaps(gaps)
}

// FitGaps is [Fit] for gaps themselves. It is also an error when a gap is below 0 or not finite.
func FitGaps(gaps []Gap) (*Curve, error) {
	c := &Curve{Gaps: len(gaps)}
	x, y, who := make([][]float64, len(gaps)), make([]bool, len(gaps)), make([]string, len(gaps))
	names := map[string]bool{}
	for i, g := range gaps {
		if !(g.Days >= 0 && g.Days <= mostDays*2000) {
			return nil, fmt.Errorf("gap %d is %g days: give a finite number, 0 or more", i+1, g.Days)
		}
		x[i], y[i], who[i] = []float64{math.Log1p(g.Days)}, g.Kept, g.Trainee
		names[g.Trainee] = true
		c.Longest = math.Max(c.Longest, g.Days)
		if g.Kept {
			c.Kept++
		}
	}
	c.Trainees = len(names)
	if more := fewestGaps - len(gaps); more > 0 {
		return nil, &NotYet{more, fmt.Sprintf("a retention curve needs at least %d gaps between drills, the earlier of which was met", fewestGaps)}
	}
	if more := fewestTrainees - c.Trainees; more > 0 {
		return nil, &NotYet{more, fmt.Sprintf("they must come from at least %d trainees", fewestTrainees)}
	}
	m, err := logistic.Fit(x, y)
	var few *logistic.TooFew
	switch {
	case errors.As(err, &few) && c.Kept == 0:
		return nil, &NotYet{again(len(gaps)), "nothing was kept over any gap, so there is no curve"}
	case errors.As(err, &few):
		return nil, &NotYet{again(len(gaps)), "all was kept over every gap, so there is no decay to follow"}
	case errors.Is(err, logistic.ErrSeparated):
		return nil, &NotYet{again(len(gaps)), "all short gaps were kept and all long ones were not, so the curve between them is not known"}
	case errors.Is(err, logistic.ErrAliased):
		return nil, &NotYet{again(len(gaps)), "all gaps are of one length, so there is nothing to tell the decay from"}
	case err != nil:
		return nil, err
	}
	if c.covariance, err = m.Clustered(who); err != nil {
		return nil, &NotYet{again(len(gaps)), err.Error()}
	}
	c.Intercept, c.Decay = m.Coefficients[0], -m.Coefficients[1]
	c.InterceptError, c.DecayError = math.Sqrt(c.covariance[0][0]), math.Sqrt(c.covariance[1][1])
	if !(c.Decay > known*c.DecayError) {
		return nil, &NotYet{again(len(gaps)), "no decay with the days stands out from chance; longer gaps would show it"}
	}
	return c, nil
}

func again(n int) int { return max(5, n/2) }

// Estimate is the chance of still meeting the competency after Days, with its band.
type Estimate struct{ Days, Kept, Low, High float64 }

// At gives the chance after each gap of days with the band of a confidence level (0.95 for 95 %, on
// the log-odds scale, Student's t over trainees). Days below 0 or not finite, or a level outside
// 0..1, give NaN.
func (c *Curve) At(level float64, days ...float64) []Estimate {
	t := math.NaN()
	if level > 0 && level < 1 {
		t = c.quantile(level)
	}
	out := make([]Estimate, len(days))
	for i, d := range days {
		out[i] = Estimate{d, math.NaN(), math.NaN(), math.NaN()}
		if d >= 0 && !math.IsInf(d, 1) && !math.IsNaN(t) {
			eta, half := c.at(d, t)
			out[i] = Estimate{d, odds(eta), odds(eta - half), odds(eta + half)}
		}
	}
	return out
}

func odds(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }

// quantile is Student's t over trainees.
func (c *Curve) quantile(level float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(max(1, c.Trainees-2))}.Quantile((1 + level) / 2)
}

// at is the log odds after d days and the half width of their interval.
func (c *Curve) at(d, t float64) (eta, half float64) {
	x := math.Log1p(d)
	return c.Intercept - c.Decay*x, t * logistic.Spread(c.covariance, []float64{x})
}

// Refresher is the day, counted from the last drill that met the competency, on which the chance of
// still meeting it has fallen to a floor.
type Refresher struct {
	Floor, Confidence float64
	// Reached says that the chance falls to the floor within ten years; Days is then when. It is 0
	// when the chance is under the floor from the first day on.
	Reached bool
	Days    float64
	// Low is the earliest such day at Confidence, which is when to refresh to be sure; High the
	// latest. HighKnown is false when, on present evidence, the chance may stay above the floor for
	// ten years; LowKnown is false when even the earliest day lies beyond them.
	Low, High           float64
	LowKnown, HighKnown bool
	// Beyond says that Days lies past the longest gap seen, so that it is a forecast from shorter
	// gaps.
	Beyond bool
}

// Refresher reads the day off the curve at a floor (0.8 for four in five) and a confidence level. It
// is an error for a floor or a level outside 0..1.
func (c *Curve) Refresher(floor, level float64) (Refresher, error) {
	if !(floor > 0 && floor < 1) {
		return Refresher{}, fmt.Errorf("the floor %g is no chance above 0 and below 1: write 0.8 for four in five", floor)
	}
	if !(level > 0 && level < 1) {
		return Refresher{}, fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	t := c.quantile(level)
	target := math.Log(floor / (1 - floor))
	r := Refresher{Floor: floor, Confidence: level}
	r.Days, r.Reached = crossing(func(d float64) float64 { eta, _ := c.at(d, t); return eta - target })
	r.Low, r.LowKnown = crossing(func(d float64) float64 { eta, half := c.at(d, t); return eta - half - target })
	r.High, r.HighKnown = last(func(d float64) float64 { eta, half := c.at(d, t); return eta + half - target })
	r.Beyond = r.Reached && r.Days > c.Longest
	return r, nil
}

// crossing is the first day at which f is no longer above 0; false when there is none.
func crossing(f func(float64) float64) (float64, bool) {
	if f(0) <= 0 {
		return 0, true
	}
	before := 0.0
	for d := 0.25; ; d *= 1.05 {
		d = math.Min(d, mostDays)
		if f(d) <= 0 {
			return between(f, before, d), true
		}
		if before = d; d == mostDays {
			return 0, false
		}
	}
}

// last is the day from which on f stays under 0, up to the end; false when it is above there.
func last(f func(float64) float64) (float64, bool) {
	if f(mostDays) > 0 {
		return 0, false
	}
	after := float64(mostDays)
	for d := float64(mostDays); d > 0.01; d /= 1.05 {
		if f(d) > 0 {
			return between(f, d, after), true
		}
		after = d
	}
	return 0, true
}

// between closes in on the place where f falls through 0.
func between(f func(float64) float64, above, under float64) float64 {
	for range 60 {
		middle := (above + under) / 2
		if f(middle) > 0 {
			above = middle
		} else {
			under = middle
		}
	}
	return (above + under) / 2
}

// String says the day in a sentence.
func (r Refresher) String() string {
	s := fmt.Sprintf("the chance of still meeting it stays above %.0f %% for ten years", 100*r.Floor)
	if r.Reached {
		s = fmt.Sprintf("the chance of still meeting it falls to %.0f %% after %.0f days", 100*r.Floor, r.Days)
	}
	switch {
	case r.LowKnown && r.HighKnown:
		s += fmt.Sprintf(" (%.0f to %.0f, %.0f %% sure)", r.Low, r.High, 100*r.Confidence)
	case r.LowKnown:
		s += fmt.Sprintf(" (%.0f at the earliest, %.0f %% sure)", r.Low, 100*r.Confidence)
	}
	if r.Beyond {
		s += "; that is past the longest gap seen, so it is a forecast from shorter ones"
	}
	return s
}
