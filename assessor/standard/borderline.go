package standard

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"zonule/scenarios/script"
)

// BorderlineCut is a cut score by borderline regression.
type BorderlineCut struct {
	N                          int
	Grade                      float64 // the grade called borderline
	Intercept, Slope           float64
	InterceptError, SlopeError float64
	RSquared, Residual         float64 // share explained; residual standard deviation
	Cut                        float64 // the regression's score at Grade
	Error                      float64 // standard error by the delta method
	Interval                   Interval
	Sandwich, Jackknife        float64 // standard errors that do not assume equal scatter
	Bootstrap                  float64 // standard error over resampled trainees; 0: not asked for
	BootstrapInterval          Interval
	Below                      float64 // share of these trainees under the cut
	GroupN                     int     // trainees graded exactly Grade
	GroupMean, GroupMedian     float64 // their scores; 0 when there are none
}

// Resample asks for a bootstrap: how many samples, and their seed. The zero value asks for none.
type Resample struct {
	Samples int
	Seed    uint64
}

// mostSamples bounds a bootstrap.
const mostSamples = 100_000

// Borderline regresses scores on examiners' global grades (one of each for every trainee, grades
// in equal steps, say 1 clear fail to 5 excellent) and reads the cut at the borderline grade, with
// the t interval at a confidence level.
//
// Model: score = a + b grade + error with equal scatter; the delta-method error is the root mean
// square error of Muijtjens et al. 2003 (Acad Med 78:S27-9, from memory). The sandwich (HC0) and
// jackknife errors do without equal scatter. Errors: a *TooFew with fewer than 4 trainees; scores
// or grades that are not finite, no spread of grades, a slope not above 0 (grades that do not rise
// with the scores set no standard), a level outside 0..1, a bootstrap of over 100,000.
func Borderline(grades, scores []float64, borderline, level float64, boot Resample) (BorderlineCut, error) {
	if err := checkLevel(level); err != nil {
		return BorderlineCut{}, err
	}
	if err := checkPairs(grades, scores); err != nil {
		return BorderlineCut{}, err
	}
	if !(math.Abs(borderline) <= largest) {
		return BorderlineCut{}, fmt.Errorf("the borderline grade %g is not a finite number", borderline)
	}
	if boot.Samples < 0 || boot.Samples > mostSamples {
		return BorderlineCut{}, fmt.Errorf("%d bootstrap samples are out of 0..%d", boot.Samples, mostSamples)
	}
	l := lineOf(grades, scores, nil)
	if !l.varies {
		return BorderlineCut{}, errors.New("all trainees have the same grade, so no line can be drawn: the cut needs grades on both sides of the borderline")
	}
	if same(scores) {
		return BorderlineCut{}, errors.New("all trainees have the same score, so the grades set no standard")
	}
	if !(l.slope > 0) {
		return BorderlineCut{}, fmt.Errorf("the scores do not rise with the grades (slope %.3g), so the grades set no standard: look at how they were given", l.slope)
	}
	c := BorderlineCut{N: len(scores), Grade: borderline, Intercept: l.intercept, Slope: l.slope, Cut: l.at(borderline)}
	n := float64(c.N)
	rss, tss, mx, my := 0.0, 0.0, mean(grades), mean(scores)
	for i, y := range scores {
		r := y - l.at(grades[i])
		rss += r * r
		tss += (y - my) * (y - my)
	}
	c.Residual = math.Sqrt(rss / (n - 2))
	c.RSquared = 1 - rss/tss
	c.SlopeError = c.Residual / math.Sqrt(l.sxx)
	c.InterceptError = c.Residual * math.Sqrt(1/n+mx*mx/l.sxx)
	c.Error = c.Residual * math.Sqrt(1/n+(borderline-mx)*(borderline-mx)/l.sxx)
	c.Interval = within(c.Cut, c.Error, n-2, level)
	c.Below = below(scores, c.Cut)
	c.robust(grades, scores, l)
	c.group(grades, scores)
	if boot.Samples > 0 {
		if err := c.resampled(grades, scores, level, boot); err != nil {
			return BorderlineCut{}, err
		}
	}
	return c, nil
}

func checkPairs(grades, scores []float64) error {
	if len(grades) != len(scores) {
		return fmt.Errorf("%d grades for %d scores: give one of each for every trainee", len(grades), len(scores))
	}
	if more := 4 - len(scores); more > 0 {
		return &TooFew{more, "trainees"}
	}
	if err := checkScores(scores); err != nil {
		return err
	}
	for i, g := range grades {
		if !(math.Abs(g) <= largest) {
			return fmt.Errorf("grade %d is %g: give finite numbers", i+1, g)
		}
	}
	return nil
}

// same says whether values differ by no more than rounding.
func same(v []float64) bool {
	low, high := v[0], v[0]
	for _, x := range v {
		low, high = math.Min(low, x), math.Max(high, x)
	}
	return high-low <= 1e-9*math.Max(math.Abs(low), math.Abs(high))
}

// line is a least-squares line.
type line struct {
	intercept, slope, mx, sxx float64
	varies                    bool
}

func (l line) at(x float64) float64 { return l.intercept + l.slope*x }

// lineOf fits y on x, over the whole or over the rows of a sample.
func lineOf(x, y []float64, rows []int) line {
	n := len(x)
	row := func(i int) int { return i }
	if rows != nil {
		n, row = len(rows), func(i int) int { return rows[i] }
	}
	var mx, my float64
	for i := range n {
		mx += x[row(i)] / float64(n)
		my += y[row(i)] / float64(n)
	}
	var sxx, sxy float64
	for i := range n {
		d := x[row(i)] - mx
		sxx += d * d
		sxy += d * (y[row(i)] - my)
	}
	l := line{mx: mx, sxx: sxx, varies: sxx > 1e-12*(1+mx*mx)}
	l.slope = sxy / sxx
	l.intercept = my - l.slope*mx
	return l
}

// robust fills in the sandwich and the jackknife error. The cut is a weighted sum of scores: HC0
// weighs each squared residual, and leaving a trainee out moves the cut by the weight times the
// residual over one less the trainee's leverage.
func (c *BorderlineCut) robust(grades, scores []float64, l line) {
	n, sum := float64(c.N), 0.0
	var moved []float64
	for i, y := range scores {
		weight := 1/n + (grades[i]-l.mx)*(c.Grade-l.mx)/l.sxx
		leverage := 1/n + (grades[i]-l.mx)*(grades[i]-l.mx)/l.sxx
		r := y - l.at(grades[i])
		sum += weight * weight * r * r
		if leverage < 1-1e-9 { // else nobody else has another grade, and there is no line without
			moved = append(moved, weight*r/(1-leverage))
		}
	}
	c.Sandwich = math.Sqrt(sum)
	m, around := mean(moved), 0.0
	for _, v := range moved {
		around += (v - m) * (v - m)
	}
	k := float64(len(moved))
	c.Jackknife = math.Sqrt((k - 1) / k * around)
}

func (c *BorderlineCut) group(grades, scores []float64) {
	var group []float64
	for i, g := range grades {
		if g == c.Grade {
			group = append(group, scores[i])
		}
	}
	if c.GroupN = len(group); c.GroupN > 0 {
		c.GroupMean, c.GroupMedian = mean(group), median(group)
	}
}

// resampled draws trainees with replacement. Samples in which all have one grade are drawn again.
func (c *BorderlineCut) resampled(grades, scores []float64, level float64, boot Resample) error {
	chance := script.NewStream(boot.Seed, "borderline")
	cuts := make([]float64, 0, boot.Samples)
	rows := make([]int, c.N)
	for tries := 0; len(cuts) < boot.Samples; tries++ {
		if tries > 2*boot.Samples+100 {
			return errors.New("resampled trainees mostly have one grade: there are too few grades for a bootstrap")
		}
		for i := range rows {
			rows[i] = chance.Below(c.N)
		}
		if l := lineOf(grades, scores, rows); l.varies {
			cuts = append(cuts, l.at(c.Grade))
		}
	}
	if len(cuts) < 2 {
		return errors.New("a bootstrap needs at least 2 samples")
	}
	c.Bootstrap = spread(cuts)
	sort.Float64s(cuts)
	c.BootstrapInterval = Interval{percentile(cuts, (1-level)/2), percentile(cuts, (1+level)/2)}
	return nil
}

// percentile of sorted values, between neighbours in proportion (R's type 6, as its boot package).
func percentile(sorted []float64, p float64) float64 {
	at := p*float64(len(sorted)+1) - 1
	i := int(math.Floor(at))
	switch {
	case i < 0:
		return sorted[0]
	case i >= len(sorted)-1:
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// Circuit is the cut of several stations together: the mean of their cuts, and its error when the
// stations are independent. It is an error without stations.
func Circuit(stations []BorderlineCut) (cut, se float64, err error) {
	if len(stations) == 0 {
		return 0, 0, &TooFew{1, "stations"}
	}
	for _, s := range stations {
		cut += s.Cut / float64(len(stations))
		se = math.Hypot(se, s.Error)
	}
	return cut, se / float64(len(stations)), nil
}
