package simulate

import (
	"fmt"
	"math"
	"os"
	"sort"
	"testing"

	"zonule/assessor/casemix"
	"zonule/assessor/curve"
	logisticmodel "zonule/assessor/logistic"
	"zonule/assessor/mixed"
	"zonule/assessor/retain"
	"zonule/assessor/standard"
)

// check is one interval of one programme: whether it was given, and whether it holds the truth.
type check struct {
	what           string
	given, covered bool
}

func holds(what string, low, high, truth float64, err error) check {
	return check{what, err == nil, err == nil && low <= truth && truth <= high}
}

// experiments make a programme from a seed and check its intervals. The long run's table is in
// README.md.
var experiments = []struct {
	name        string
	short, long int // programmes
	run         func(seed uint64) []check
}{
	{"a trainee's own curve, 40 drills", 60, 2000, ownCurve},
	{"a cohort's curve, 40 trainees of 10 to 30 drills", 12, 2000, cohortCurve},
	{"a cohort's curve, 40 trainees of 30 to 60 drills", 12, 500, longCohort},
	{"a cohort's curve, 12 trainees of 10 to 30 drills", 12, 2000, smallCohort},
	{"proportions, n 20 to 200, rate 0.02 to 0.30", 60, 2000, proportions},
	{"observed over expected, 300 cases", 60, 2000, observedExpected},
	{"logistic regression, 80 cases", 60, 2000, regression},
	{"retention, 40 trainees of 12 drills", 60, 2000, retention},
	{"borderline regression, 60 trainees", 60, 2000, borderline},
	{"contrasting groups, 60 trainees", 60, 2000, contrasting},
	{"Angoff, 8 judges", 60, 2000, angoff},
	{"linear mixed model, 20 trainees of 10 drills", 12, 2000, linearMixed},
}

func ownCurve(seed uint64) []check {
	c := TypicalCurves(1, 40, 40)
	c.Plateau.Deviation, c.Start.Deviation, c.LogRate.Deviation = 0, 0, 0
	trainees, truth := c.Draw(seed)
	points, rate := trainees[0].Points, math.Exp(truth[0].LogRate)
	e, err := curve.LeastSquares(curve.Exponential, points, nil)
	if err != nil {
		return []check{{"own curve", false, false}}
	}
	wald, err := e.Wald(.95)
	out := []check{
		holds("plateau, by its standard error", wald[0].Low, wald[0].High, truth[0].Plateau, err),
		holds("rate, by its standard error", wald[2].Low, wald[2].High, rate, err),
	}
	for j, want := range []float64{truth[0].Plateau, truth[0].Plateau - truth[0].Start, rate} {
		p, err := e.Profile(j, .95)
		out = append(out, holds([]string{"plateau", "gap", "rate"}[j]+", by profile", p.Low, p.High, want, err))
	}
	f, err := curve.Fit(points)
	if err != nil {
		return append(out, check{"band at drill 15 of a shown curve", false, false})
	}
	at := f.At(.95, 15)[0]
	out = append(out, holds("band at drill 15 of a shown curve", at.Low, at.High, truth[0].At(15), nil))
	n, err := f.Needed(75, .95)
	return append(out, forecastHolds("drill that meets 75, own curve", n, truth[0].Reaches(75), err))
}

// forecastHolds says whether a forecast's interval holds the drill at which the truth meets the
// standard; 0 stands for never.
func forecastHolds(what string, f curve.Forecast, truth int, err error) check {
	if err != nil {
		return check{what, false, false}
	}
	if truth == 0 || truth > f.Horizon {
		return check{what, true, !f.HighKnown}
	}
	return check{what, true, f.LowKnown && f.Low <= truth && (!f.HighKnown || truth <= f.High)}
}

func cohortCurve(seed uint64) []check { return cohortOf(seed, 40, 10, 30) }
func longCohort(seed uint64) []check  { return cohortOf(seed, 40, 30, 60) }
func smallCohort(seed uint64) []check { return cohortOf(seed, 12, 10, 30) }

func cohortOf(seed uint64, trainees, fewest, most int) []check {
	spec := TypicalCurves(trainees+1, fewest, most)
	drawn, truth := spec.Draw(seed)
	c, err := curve.FitCohort(drawn[:trainees], false)
	if err != nil {
		return []check{{"shared plateau", false, false}}
	}
	i, err := c.Intervals(.95)
	out := []check{
		holds("shared plateau", i[0].Low, i[0].High, spec.Plateau.Mean, err),
		holds("shared start", i[1].Low, i[1].High, spec.Start.Mean, err),
		holds("shared ln rate", i[2].Low, i[2].High, spec.LogRate.Mean, err),
	}
	// A further trainee, who was not in the cohort.
	whole, me := drawn[trainees].Points, truth[trainees]
	for _, n := range []int{0, 3, 8} {
		p, err := c.Place(whole[:n])
		if err != nil {
			out = append(out, check{"placed", false, false})
			continue
		}
		at := p.At(.95, 15)[0]
		out = append(out, holds(fmt.Sprintf("a trainee's mean at drill 15, after %d drills", n), at.Low, at.High, me.At(15), nil))
		f, err := p.Needed(75, .95)
		out = append(out, forecastHolds(fmt.Sprintf("drill that meets 75, after %d drills", n), f, me.Reaches(75), err))
	}
	return out
}

func proportions(seed uint64) []check {
	chance := NewChance(seed, "proportions")
	n, p := 20+chance.Below(181), .02+.28*chance.Uniform()
	events := 0
	for range n {
		if chance.Met(p) {
			events++
		}
	}
	var out []check
	for _, m := range []struct {
		name string
		of   func(int, int, float64) (casemix.Interval, error)
	}{{"exact", casemix.Exact}, {"Wilson", casemix.Wilson}, {"Jeffreys", casemix.Jeffreys}, {"Agresti-Coull", casemix.AgrestiCoull}} {
		i, err := m.of(events, n, .95)
		out = append(out, holds(m.name, i.Low, i.High, p, err))
	}
	q, other := .02+.28*chance.Uniform(), 0
	for range n {
		if chance.Met(q) {
			other++
		}
	}
	_, i, err := casemix.Difference(events, n, other, n, .95)
	return append(out, holds("difference of two, Newcombe", i.Low, i.High, p-q, err))
}

func observedExpected(seed uint64) []check {
	risks, failures := Cases{N: 300, Risk: Spread{-3.5, .8}, Odds: 1.5}.Draw(seed)
	observed, truth := 0, 0.0
	for i, f := range failures {
		if f {
			observed++
		}
		truth += multiplied(risks[i], 1.5)
	}
	expected, err := casemix.Expected(risks)
	if err != nil {
		return []check{{"ratio", false, false}}
	}
	c, err := casemix.Compare(observed, expected, .95)
	return []check{
		holds("ratio, exact", c.Exact.Low, c.Exact.High, truth/expected, err),
		holds("ratio, Byar", c.Byar.Low, c.Byar.High, truth/expected, err),
	}
}

// multiplied is the risk with its odds multiplied.
func multiplied(p, odds float64) float64 { return odds * p / (1 - p + odds*p) }

func regression(seed uint64) []check {
	chance := NewChance(seed, "regression")
	var x [][]float64
	var y []bool
	for range 80 {
		v := chance.Normal()
		x, y = append(x, []float64{v}), append(y, chance.Met(logistic(-.5+v)))
	}
	m, err := logisticmodel.Fit(x, y)
	if err != nil {
		return []check{{"slope, by profile", false, false}}
	}
	low, high, err := m.Profile(1, .95)
	out := []check{holds("slope, by profile", low, high, 1, err)}
	low, high, err = m.Wald(1, .95)
	return append(out, holds("slope, by its standard error", low, high, 1, err))
}

func retention(seed uint64) []check {
	f := Forgetting{Trainees: 40, Drills: 12, Intercept: 4, Decay: .9, LongestGap: 400}
	c, err := retain.Fit(f.Draw(seed))
	if err != nil {
		return []check{{"refresher day", false, false}}
	}
	r, err := c.Refresher(.8, .95)
	truth := math.Exp((4-math.Log(4))/.9) - 1
	high := r.High
	if !r.HighKnown {
		high = math.Inf(1)
	}
	return []check{holds("refresher day", r.Low, high, truth, err)}
}

func borderline(seed uint64) []check {
	g, s := Station{Trainees: 60, Intercept: 25, Slope: 12, Scatter: 6}.Draw(seed)
	c, err := standard.Borderline(g, s, 2, .95, standard.Resample{})
	return []check{holds("cut", c.Interval.Low, c.Interval.High, 49, err)}
}

func contrasting(seed uint64) []check {
	chance := NewChance(seed, "contrasting")
	var s []float64
	var ok []bool
	for range 60 {
		v := 60 + 10*chance.Normal()
		s, ok = append(s, v), append(ok, chance.Met(logistic(.25*(v-58))))
	}
	c, err := standard.Contrasting(s, ok, .95)
	if err == nil && !c.HasLogistic {
		err = fmt.Errorf("%s", c.LogisticNote)
	}
	return []check{holds("cut, by logistic regression", c.LogisticInterval.Low, c.LogisticInterval.High, 58, err)}
}

func angoff(seed uint64) []check {
	chance := NewChance(seed, "angoff")
	ratings := make([][]float64, 8)
	for j := range ratings {
		severity := .04 * chance.Normal()
		for i := range 15 {
			ratings[j] = append(ratings[j], .5+.02*float64(i)+severity+.05*chance.Normal())
		}
	}
	c, err := standard.Angoff(ratings, .95)
	return []check{holds("cut over other judges", c.Interval.Low, c.Interval.High, 15*.5+.02*105, err)}
}

func linearMixed(seed uint64) []check {
	chance := NewChance(seed, "mixed")
	groups := make([]mixed.Group, 20)
	for g := range groups {
		a, b := 60+5*chance.Normal(), 2+.5*chance.Normal()
		groups[g].Name = name("T", g)
		for x := range 10 {
			row := []float64{1, float64(x)}
			groups[g].X, groups[g].Z = append(groups[g].X, row), append(groups[g].Z, row)
			groups[g].Y = append(groups[g].Y, a+b*row[1]+4*chance.Normal())
		}
	}
	f, err := mixed.Linear(groups, mixed.Options{Diagonal: true})
	if err != nil {
		return []check{{"linear mixed", false, false}}
	}
	intervals, err := f.Profile(.95)
	if err != nil {
		return []check{{"linear mixed", false, false}}
	}
	truth := map[string]float64{"sd 1": 5, "sd 2": .5, "sigma": 4, "fixed 1": 60, "fixed 2": 2}
	var out []check
	for _, i := range intervals {
		out = append(out, holds(i.Parameter+", by profile", i.Low, i.High, truth[i.Parameter], nil))
	}
	return out
}

// baseSeed is that of the first programme; the others follow it.
const baseSeed = 6000

// tally counts an experiment over programmes.
func tally(run func(seed uint64) []check, programmes int) (order []string, given, covered map[string]int) {
	given, covered = map[string]int{}, map[string]int{}
	for i := range programmes {
		for _, c := range run(baseSeed + uint64(i)) {
			if _, ok := given[c.what]; !ok {
				order = append(order, c.what)
				given[c.what] = 0
			}
			if c.given {
				given[c.what]++
			}
			if c.covered {
				covered[c.what]++
			}
		}
	}
	sort.Strings(order)
	return order, given, covered
}

// In short: a few programmes, in which 95 % intervals must not miss the truth far too often. At
// length, with ZONULE_LONG=1: 2,000 programmes or 500, and the table that README.md keeps.
func TestIntervalsHoldTheTruth(t *testing.T) {
	long := os.Getenv("ZONULE_LONG") != ""
	for _, e := range experiments {
		programmes := e.short
		if long {
			programmes = e.long
		}
		order, given, covered := tally(e.run, programmes)
		for _, what := range order {
			n := given[what]
			if n == 0 {
				if long {
					t.Errorf("%s, %s: never given", e.name, what)
				}
				continue
			}
			rate := float64(covered[what]) / float64(n)
			if long {
				t.Logf("| %s | %s | %d of %d | %.1f %% |", e.name, what, n, programmes, 100*rate)
			}
			// Four standard errors of a true 95 %, and a little; more where README.md says why.
			if slack := 4*math.Sqrt(.05*.95/float64(n)) + .08; rate < .95-slack {
				t.Errorf("%s, %s: %d of %d hold the truth", e.name, what, covered[what], n)
			}
		}
	}
}
