package main

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"zonule/assessor/simulate"
)

type statsExample struct {
	Method string `arg:"" help:"A method's name." placeholder:"METHOD"`
	Size   string `help:"small, or benchmark: big enough to time against other software." enum:"small,benchmark" default:"small"`
	Seed   uint64 `help:"Seed of the invented data." default:"1"`
}

// Run writes invented data as CSV.
func (c *statsExample) Run(sh *shell) error {
	make, ok := statsExamples[c.Method]
	if !ok {
		return fmt.Errorf("there is no data for %q: the methods are %s", c.Method, strings.Join(slices.Sorted(maps.Keys(statsExamples)), ", "))
	}
	w := csv.NewWriter(sh.out)
	d := make(c.Size == "benchmark", c.Seed)
	if err := w.Write(d.columns); err != nil {
		return err
	}
	return w.WriteAll(d.rows)
}

// statsExamples make invented data for each method.
var statsExamples = map[string]func(big bool, seed uint64) statsData{
	"icc":               func(big bool, seed uint64) statsData { return ratingsWide("target", big, seed, 0) },
	"kappa":             exampleKappa,
	"fleiss":            exampleFleiss,
	"alpha":             func(big bool, seed uint64) statsData { return ratingsWide("unit", big, seed, .15) },
	"gstudy":            exampleRatings,
	"dstudy":            exampleRatings,
	"rasch":             func(big bool, seed uint64) statsData { return exampleResponses(1, big, seed) },
	"rsm":               func(big bool, seed uint64) statsData { return exampleResponses(4, big, seed) },
	"pcm":               func(big bool, seed uint64) statsData { return exampleResponses(3, big, seed) },
	"facets":            exampleFacets,
	"curve":             exampleCurve,
	"mixed-curve":       exampleCohort,
	"mixed":             exampleMixed,
	"mixed-met":         exampleMixedMet,
	"lc-cusum":          func(big bool, seed uint64) statsData { return exampleMet(big, seed, .5, .05) },
	"bernoulli-cusum":   func(big bool, seed uint64) statsData { return exampleMet(big, seed, .05, .3) },
	"risk-cusum":        exampleCases,
	"observed-expected": exampleCases,
	"cusum":             exampleMeasure,
	"ewma":              exampleMeasure,
	"cusum-arl":         exampleCUSUMARL,
	"ewma-arl":          exampleEWMAARL,
	"interval":          exampleInterval,
	"difference":        exampleDifference,
	"funnel":            exampleFunnel,
	"logistic":          exampleLogistic,
	"risk":              exampleRisk,
	"angoff":            exampleAngoff,
	"borderline":        exampleBorderline,
	"contrasting":       exampleContrasting,
	"hofstee":           exampleHofstee,
	"credit":            exampleCredit,
	"retention":         exampleRetention,
	"clock":             exampleClock,
}

// pick is the small size, or the big one.
func pick(big bool, small, large int) int {
	if big {
		return large
	}
	return small
}

func number(v float64, digits int) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

func yes(v bool) string {
	if v {
		return "1"
	}
	return "0"
}

func ratingsWide(first string, big bool, seed uint64, gaps float64) statsData {
	d := statsData{columns: []string{first}}
	chance := simulate.NewChance(seed, "wide")
	raters := pick(big, 4, 10)
	bias := make([]float64, raters)
	for k := range bias {
		d.columns = append(d.columns, fmt.Sprintf("rater%d", k+1))
		bias[k] = .4 * chance.Normal()
	}
	for i := range pick(big, 12, 1000) {
		own, row := chance.Normal(), []string{fmt.Sprintf("T%04d", i+1)}
		for k := range bias {
			score := math.Max(1, math.Min(5, math.Round(3+own+bias[k]+.6*chance.Normal())))
			if gaps > 0 && chance.Met(gaps) {
				score = math.NaN()
			}
			row = append(row, number(score, 0))
		}
		d.rows = append(d.rows, row)
	}
	return d
}

func exampleKappa(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"first", "second"}}
	chance := simulate.NewChance(seed, "kappa")
	level := func(v float64) string { return number(math.Max(1, math.Min(5, math.Round(v))), 0) }
	for range pick(big, 40, 100_000) {
		own := 3 + 1.1*chance.Normal()
		d.rows = append(d.rows, []string{level(own + .5*chance.Normal()), level(own + .5*chance.Normal())})
	}
	return d
}

func exampleFleiss(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"subject"}}
	chance := simulate.NewChance(seed, "fleiss")
	words := []string{"harmful", "acceptable", "preferred"}
	raters := pick(big, 5, 20)
	for k := range raters {
		d.columns = append(d.columns, fmt.Sprintf("rater%d", k+1))
	}
	for i := range pick(big, 20, 5000) {
		own, row := chance.Below(3), []string{fmt.Sprintf("S%04d", i+1)}
		for range raters {
			at := own
			if chance.Met(.35) {
				at = chance.Below(3)
			}
			row = append(row, words[at])
		}
		d.rows = append(d.rows, row)
	}
	return d
}

func exampleRatings(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"person", "item", "rater", "score"}}
	r := simulate.Ratings{Persons: pick(big, 15, 200), Items: pick(big, 4, 20), Raters: pick(big, 3, 4),
		Person: .5, Item: .2, Rater: .1, PersonItem: .3, PersonRater: .1, ItemRater: .05, Residual: .4, Mean: 3}
	for _, o := range r.Draw(seed) {
		d.rows = append(d.rows, []string{o.Person, o.Item, o.Rater, number(o.Score, 3)})
	}
	return d
}

func exampleResponses(top int, big bool, seed uint64) statsData {
	d := statsData{columns: []string{"person"}}
	r := simulate.Responses{Persons: pick(big, 100, 1000), Items: pick(big, 6, 60), Top: top, Ability: 1.2, Difficulty: .6, Step: .6}
	if big || top == 3 {
		r.Missing = .2
	}
	responses, _ := r.Draw(seed)
	for i := range r.Items {
		d.columns = append(d.columns, fmt.Sprintf("item%d", i+1))
	}
	for p, row := range responses {
		cells := []string{fmt.Sprintf("T%04d", p+1)}
		for _, v := range row {
			cells = append(cells, number(v, 0))
		}
		d.rows = append(d.rows, cells)
	}
	return d
}

func exampleFacets(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"person", "item", "rater", "score"}}
	r := simulate.Rated{Persons: pick(big, 40, 500), Items: pick(big, 3, 8), Raters: pick(big, 3, 6), Top: 3, Ability: 1.2, Difficulty: .7, Severity: .5, Step: .9}
	for _, o := range r.Draw(seed) {
		d.rows = append(d.rows, []string{o.Person, o.Item, o.Rater, strconv.Itoa(o.Score)})
	}
	return d
}

func exampleCurve(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"x", "y"}}
	n := pick(big, 40, 2000)
	c := simulate.TypicalCurves(1, n, n)
	trainees, _ := c.Draw(seed)
	for _, p := range trainees[0].Points {
		d.rows = append(d.rows, []string{number(p.X, 0), number(p.Y, 2)})
	}
	return d
}

func exampleCohort(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"trainee", "x", "y"}}
	c := simulate.TypicalCurves(pick(big, 12, 200), pick(big, 3, 60), pick(big, 30, 60))
	trainees, _ := c.Draw(seed)
	for _, t := range trainees {
		for _, p := range t.Points {
			d.rows = append(d.rows, []string{t.Name, number(p.X, 0), number(p.Y, 2)})
		}
	}
	return d
}
