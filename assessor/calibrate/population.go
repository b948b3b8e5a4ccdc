package calibrate

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/optimize"
)

// Population is a calibration in which abilities are taken to be normal with mean 0, by marginal
// maximum likelihood (Bock and Aitkin 1981, Psychometrika 46:443-59) with 61 Gauss-Hermite points.
// It gives what the conditional calibration leaves out, how much the persons of a cohort differ,
// and uses the persons with the lowest and highest totals too; the price is the normal
// distribution. Item parameters of the two differ little. No standard errors are given: take those
// of the conditional calibration.
type Population struct {
	Spread        float64     // standard deviation of ability, logits, above 0
	Thresholds    [][]float64 // of each item, relative to the mean ability; empty for [SeverityPopulation]
	Items         []float64   // [SeverityPopulation] only: difficulty of each item (mean threshold), relative to the mean ability
	Raters        []float64   // and severity of each rater, mean 0
	Steps         []float64   // and threshold k less the mean threshold
	LogLikelihood float64     // of the responses
}

const points = 61

// RaschPopulation is [Rasch] with normal abilities. Arguments and errors are those of [Rasch]; and it
// is an error when the persons differ no more than chance would make them, or when the search does not
// settle.
func RaschPopulation(responses [][]float64) (*Population, error) {
	s, err := Rasch(responses)
	if err != nil {
		return nil, err
	}
	return s.table.population(len(s.Items), func(c, _ int) []weight { return []weight{{c, 1}} }, s.thresholds)
}

// PartialCreditPopulation is [PartialCredit] with normal abilities; errors as in [RaschPopulation].
func PartialCreditPopulation(responses [][]float64) (*Population, error) {
	s, err := PartialCredit(responses)
	if err != nil {
		return nil, err
	}
	first := 0
	of := make([]int, len(s.table.top))
	for c, top := range s.table.top {
		of[c] = first
		first += top
	}
	return s.table.population(first, func(c, h int) []weight {
		var row []weight
		for k := range h {
			row = append(row, weight{of[c] + k, 1})
		}
		return row
	}, s.thresholds)
}

// SeverityPopulation is [Severity] with normal abilities; errors as there and in [RaschPopulation].
func SeverityPopulation(ratings []Rating) (*Population, error) {
	f, err := Severity(ratings)
	if err != nil {
		return nil, err
	}
	_, t, err := facets(ratings)
	if err != nil {
		return nil, err
	}
	items, raters, steps := len(f.Items), len(f.Raters), len(f.Steps)
	// Free: items; raters but the first; steps but the first.
	row := func(c, h int) []weight {
		out := []weight{{c / raters, float64(h)}}
		for _, w := range onAllButFirst(c%raters, float64(h)) {
			out = append(out, weight{items + w.free, w.by})
		}
		for k := 2; k <= h; k++ {
			out = append(out, weight{items + raters - 1 + k - 2, 1})
		}
		return out
	}
	var start []float64
	for _, l := range f.Items {
		start = append(start, l.Measure.Value)
	}
	for _, l := range f.Raters[1:] {
		start = append(start, l.Measure.Value-f.Raters[0].Measure.Value)
	}
	for _, e := range f.Steps[1:] {
		start = append(start, e.Value-f.Steps[0].Value)
	}
	p, err := t.population(items+raters-1+steps-1, row, start)
	if err != nil {
		return nil, err
	}
	free := p.Thresholds[0]
	p.Thresholds = nil
	p.Raters = append([]float64{0}, free[items:items+raters-1]...)
	p.Steps = append([]float64{0}, free[items+raters-1:]...)
	severity, step := floats.Sum(p.Raters)/float64(raters), floats.Sum(p.Steps)/float64(steps)
	floats.AddConst(-severity, p.Raters)
	floats.AddConst(-step, p.Steps)
	p.Items = append([]float64{}, free[:items]...)
	floats.AddConst(severity+step, p.Items)
	return p, nil
}

// marginal is the problem: persons with the same columns and total are alike.
type marginal struct {
	*conditional
	nodes, logweights []float64 // of a standard normal
}

// population maximises the marginal likelihood from the conditional estimates. When the free
// parameters are thresholds they come back sorted by item, and otherwise as one row.
func (t *table) population(free int, row func(column, h int) []weight, start []float64) (*Population, error) {
	all := *t
	all.everyone = true
	m := &marginal{conditional: newConditional(&all, free, row), nodes: make([]float64, points), logweights: make([]float64, points)}
	quad.Hermite{}.FixedLocations(m.nodes, m.logweights, math.Inf(-1), math.Inf(1))
	for q := range m.nodes {
		m.nodes[q] *= math.Sqrt2
		m.logweights[q] = math.Log(m.logweights[q]) - 0.5*math.Log(math.Pi)
	}
	problem := optimize.Problem{
		Func: func(x []float64) float64 { return -m.at(x, nil) },
		Grad: func(g, x []float64) { m.at(x, g); floats.Scale(-1, g) },
	}
	from := append(append([]float64{}, start...), 0) // the last is the log of the spread
	settings := &optimize.Settings{GradientThreshold: 1e-6 * float64(len(t.x)), MajorIterations: 1000}
	got, err := optimize.Minimize(problem, from, settings, &optimize.BFGS{})
	if got == nil {
		return nil, fmt.Errorf("the marginal likelihood did not reach its maximum (%w); no estimate is given", err)
	}
	slope := make([]float64, free+1)
	value := m.at(got.X, slope)
	spread := math.Exp(got.X[free])
	alike := append(append([]float64{}, got.X[:free]...), -12)
	switch {
	case m.at(alike, nil) > value-1e-3: // as likely without any spread
		return nil, errors.New("the persons differ no more than chance would make them, so their abilities have no spread to estimate")
	case !finite(value) || floats.Norm(slope, math.Inf(1)) > 1e-4*float64(len(t.x)) || spread > farthest || tooFar(got.X[:free]):
		return nil, errors.New("the marginal likelihood did not reach its maximum; no estimate is given")
	}
	p := &Population{Spread: spread, LogLikelihood: value}
	if free != m.betas {
		p.Thresholds = [][]float64{got.X[:free]}
		return p, nil
	}
	at := 0
	for _, top := range t.top {
		p.Thresholds = append(p.Thresholds, got.X[at:at+top])
		at += top
	}
	return p, nil
}

// at is the marginal log-likelihood, and its slope when slope is not nil.
func (m *marginal) at(x, slope []float64) float64 {
	beta := m.beta(x[:m.free])
	spread := math.Exp(x[m.free])
	columns := len(m.top)
	mean, lognorm := make([]float64, points*columns), make([]float64, points*columns)
	p := make([][]float64, points*columns)
	for q, node := range m.nodes {
		for i, top := range m.top {
			k := q*columns + i
			p[k] = make([]float64, top+1)
			mean[k], lognorm[k] = probabilities(beta[m.first[i]:m.first[i]+top], spread*node, p[k])
		}
	}
	value, bySpread := 0.0, 0.0
	expected := make([]float64, m.betas)
	weights := make([]float64, points)
	for _, g := range m.groups {
		for q, node := range m.nodes {
			weights[q] = m.logweights[q] + float64(g.total)*spread*node
			for _, i := range g.columns {
				weights[q] -= lognorm[q*columns+i]
			}
		}
		top := floats.LogSumExp(weights)
		value += g.persons * top
		if slope == nil {
			continue
		}
		for q, node := range m.nodes {
			w := g.persons * math.Exp(weights[q]-top)
			if w < 1e-18 {
				continue
			}
			miss := float64(g.total)
			for _, i := range g.columns {
				k := q*columns + i
				miss -= mean[k]
				for h, v := range p[k][1:] {
					expected[m.first[i]+h] += w * v
				}
			}
			bySpread += w * miss * spread * node
		}
	}
	for b, n := range m.counts {
		value -= n * beta[b]
		expected[b] -= n
	}
	if slope != nil {
		clear(slope)
		for b, row := range m.rows {
			for _, w := range row {
				slope[w.free] += w.by * expected[b]
			}
		}
		slope[m.free] = bySpread
	}
	return value
}
