package agree

import (
	"fmt"
	"math"
)

// Variances are the variance components of a design, in the order of [Design.Components], each at
// least 0. Take them from a study or write down published ones.
type Variances struct {
	Design Design
	Values []float64
}

// Components names the sources of variation of a design in order, the residual last.
func (d Design) Components() []string {
	var names []string
	for _, e := range d.effects() {
		names = append(names, e.name)
	}
	return names
}

// Plan is how many items and raters a programme means to use; in a nested design Raters is for
// each item. A facet that the design lacks is not read. With ItemsFixed the items are all there
// are (the same drills for everyone, always), not a sample of more.
type Plan struct {
	Items, Raters int
	ItemsFixed    bool
}

// Decision is what a plan would achieve.
type Decision struct {
	Plan
	Universe float64 // variance of the universe scores of persons
	Relative float64 // error variance when persons are compared with each other
	Absolute float64 // error variance when a person is set against a standard
	Erho2    float64 // generalizability coefficient, Universe/(Universe+Relative)
	Phi      float64 // index of dependability, Universe/(Universe+Absolute)
	// Standard errors of measurement, in units of the score.
	RelativeSEM, AbsoluteSEM float64
}

func (v Variances) check() error {
	effects := v.Design.effects()
	if effects == nil || len(v.Values) != len(effects) {
		return fmt.Errorf("%d variance components do not make a %v design: give %v in this order", len(v.Values), v.Design, v.Design.Components())
	}
	sum := 0.0
	for i, x := range v.Values {
		if !finite(x) || x < 0 || x > largest*largest {
			return fmt.Errorf("variance component %s is %g: give a finite number of at least 0 (put one below 0 to 0)", effects[i].name, x)
		}
		sum += x
	}
	if sum == 0 {
		return fmt.Errorf("all variance components are 0: there is nothing to decide on")
	}
	return nil
}

func (v Variances) checkPlan(p Plan) error {
	if v.Design.has(item) && p.Items < 1 {
		return fmt.Errorf("a plan with %d items: give at least 1", p.Items)
	}
	if v.Design.has(rater) && p.Raters < 1 {
		return fmt.Errorf("a plan with %d raters: give at least 1", p.Raters)
	}
	if p.ItemsFixed && !v.Design.has(item) {
		return fmt.Errorf("items cannot be fixed in a %v design: it has none", v.Design)
	}
	if p.ItemsFixed && v.Design == ByItem {
		return fmt.Errorf("with the items fixed a p x i design has no facet left to generalise over; add raters")
	}
	return nil
}

// times is how many conditions of an effect the mean over a plan averages.
func (p Plan) times(of facets) float64 {
	n := 1.0
	if of&item != 0 {
		n *= float64(p.Items)
	}
	if of&rater != 0 {
		n *= float64(p.Raters)
	}
	return n
}

// Decide is the decision study: what the mean over a plan's items and raters would be worth
// (Brennan 2001, Generalizability Theory, chapters 1-4; a fixed facet as in Shavelson and Webb
// 1991). Items and raters are taken to be drawn at random from the universe that the components
// describe, except with ItemsFixed, where the person's own interaction with the items counts as
// universe score and the items' main effect as none. It is an error when the components do not
// fit the design or the plan has fewer than one of a facet.
func (v Variances) Decide(p Plan) (*Decision, error) {
	if err := v.check(); err != nil {
		return nil, err
	}
	if err := v.checkPlan(p); err != nil {
		return nil, err
	}
	d := &Decision{Plan: p}
	for k, e := range v.Design.effects() {
		share := v.Values[k] / p.times(e.of)
		fixed := p.ItemsFixed && e.of&rater == 0
		switch {
		case e.of == person, fixed && e.of == person|item:
			d.Universe += share
		case fixed:
			// the items' own difficulty is the same for all and is no error
		case e.of&person != 0:
			d.Relative += share
			d.Absolute += share
		default:
			d.Absolute += share
		}
	}
	if d.Universe+d.Relative > 0 {
		d.Erho2 = d.Universe / (d.Universe + d.Relative)
	}
	if d.Universe+d.Absolute > 0 {
		d.Phi = d.Universe / (d.Universe + d.Absolute)
	}
	d.RelativeSEM, d.AbsoluteSEM = math.Sqrt(d.Relative), math.Sqrt(d.Absolute)
	return d, nil
}

// mostOfFacet bounds the plans that Reach looks through.
const mostOfFacet = 10_000

// Reach answers how many items and raters are needed for Phi to reach a target within 0..1: for
// each number of raters from 1 to within.Raters, the plan with the fewest items, up to
// within.Items. Numbers of raters that cannot reach it are left out; when none can, the error says
// how far the largest plan comes. A design without items is searched over raters, and gives one
// plan at most. Assumptions are those of [Variances.Decide].
func (v Variances) Reach(phi float64, within Plan) ([]Decision, error) {
	if !(phi > 0 && phi < 1) {
		return nil, fmt.Errorf("target Phi %g is outside 0..1: 0.8 is common for a decision about a person (common practice, no source)", phi)
	}
	largestPlan, err := v.Decide(within)
	if err != nil {
		return nil, err
	}
	if within.Items > mostOfFacet || within.Raters > mostOfFacet {
		return nil, fmt.Errorf("a plan of %d items and %d raters is too large to look through: at most %d of each", within.Items, within.Raters, mostOfFacet)
	}
	if largestPlan.Phi < phi {
		return nil, fmt.Errorf("not within this plan: %d items and %d raters reach Phi %.3f, less than %g", within.Items, within.Raters, largestPlan.Phi, phi)
	}
	// Phi never falls as a facet grows, so the fewest are found by halving.
	if !v.Design.has(item) || within.ItemsFixed {
		d, err := v.fewest(phi, within.Raters, func(n int) Plan {
			return Plan{Items: within.Items, Raters: n, ItemsFixed: within.ItemsFixed}
		})
		if err != nil {
			return nil, err
		}
		return []Decision{*d}, nil
	}
	raters := within.Raters
	if !v.Design.has(rater) {
		raters = 1
	}
	var out []Decision
	for r := 1; r <= raters; r++ {
		d, err := v.fewest(phi, within.Items, func(n int) Plan { return Plan{Items: n, Raters: r} })
		if err != nil {
			return nil, err
		}
		if d != nil {
			out = append(out, *d)
		}
	}
	return out, nil
}

// fewest is the smallest n up to most whose plan reaches phi; nil when none does.
func (v Variances) fewest(phi float64, most int, plan func(int) Plan) (*Decision, error) {
	low, high := 0, most+1
	var found *Decision
	for high-low > 1 {
		middle := (low + high) / 2
		d, err := v.Decide(plan(middle))
		if err != nil {
			return nil, err
		}
		if d.Phi >= phi {
			high, found = middle, d
		} else {
			low = middle
		}
	}
	return found, nil
}

// PhiLambda is the dependability of decisions about a cut score (Brennan 2001, chapter 2; Brennan
// and Kane 1977), for a plan: [U + (M-cut)^2 - s2(M)] / [same + absolute error], where M is the
// study's mean and s2(M) the error of M. It can come out below 0 when the mean stands at the cut
// and persons do not differ. Errors are those of [Variances.Decide]; a cut must be finite.
func (s *Study) PhiLambda(cut float64, p Plan) (float64, error) {
	v := s.Variances()
	d, err := v.Decide(p)
	if err != nil {
		return 0, err
	}
	if err := checkScore(cut, false, "the cut"); err != nil {
		return 0, err
	}
	ofMean := s.MeanError * s.MeanError
	if s.Balanced {
		ofMean = 0
		seen := Plan{Items: s.Items, Raters: s.Raters}
		for k, e := range s.Design.effects() {
			n := seen.times(e.of)
			if e.of&person != 0 {
				n *= float64(s.Persons)
			}
			ofMean += v.Values[k] / n
		}
	}
	top := d.Universe + (s.Mean-cut)*(s.Mean-cut) - ofMean
	if bottom := top + d.Absolute; bottom > 0 {
		return top / bottom, nil
	}
	return 0, fmt.Errorf("the mean stands at the cut and its own error is larger than all variation between persons: Phi(lambda) is not defined")
}
