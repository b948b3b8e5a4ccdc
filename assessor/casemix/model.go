package casemix

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// Model is a table of odds ratios (or coefficients) that gives a case's predicted risk, in which
// every number says where it comes from. It is read from a text ([ParseModel]); what the text may
// say:
//
//	zonule: risk/1
//	id: example-1                      # lower-case letters, digits and dashes
//	outcome: "capsule rupture or vitreous loss"
//	use: "what the numbers may and may not be used for"
//	baseline: {odds: 0.0074, mark: from-memory, ref: "where it comes from"}
//	factors:
//	  male:   {odds_ratio: 1.28, mark: published, ref: "Author year, table"}
//	  pupil:  {levels: {large: 1, medium: 1.14, small: 1.45}, mark: secondary, ref: "..."}
//	  length_mm: {per_unit: 0.05, from: 23, mark: own-data, ref: "..."}   # log odds for each unit over 23
//
// A baseline gives odds or a log_odds; a factor gives exactly one of odds_ratio (present or not),
// coefficient (its logarithm), levels (odds ratios by name) and per_unit.
type Model struct {
	ID, Outcome, Use string
	Baseline         Source // Value: odds of a case with no factor present
	Factors          []Factor
}

// Source is one number with its origin. Mark is one of published, secondary (read in a page that
// quotes the source), own-data, from-memory, assumed.
type Source struct {
	Value     float64
	Mark, Ref string
}

// Factor is one thing about a case that changes its odds.
type Factor struct {
	Name      string
	Mark, Ref string
	Ratio     float64            // of a factor that is present or not; 0: another kind
	Levels    map[string]float64 // odds ratio of each level; nil: another kind
	PerUnit   float64            // log odds for each unit above From
	From      float64
}

// Case is what is known of one case: true or false as 1 or 0 for a factor that is present or not,
// the level's name, or the measure.
type Case struct {
	Present  map[string]bool
	Level    map[string]string
	Measured map[string]float64
}

// Part is what one factor did to a case's odds.
type Part struct {
	Factor string
	Ratio  float64
	Source Source // Value is the number read from the file
}

// Prediction is a case's predicted risk and how it came about.
type Prediction struct {
	Risk      float64 // probability
	OddsRatio float64 // product of the parts
	Parts     []Part  // the factors present, in the file's order
	Unsure    []string
}

// Predict gives a case's risk. A factor the case says nothing about counts as absent (a measure as
// at its From) and is listed in Unsure, so that a reader sees what was assumed. It is an error when
// the case names a factor or level the model has not, or a measure that is not finite.
func (m *Model) Predict(c Case) (Prediction, error) {
	if err := m.knows(c); err != nil {
		return Prediction{}, err
	}
	p := Prediction{OddsRatio: 1}
	for _, f := range m.Factors {
		part := Part{Factor: f.Name, Ratio: 1, Source: Source{Mark: f.Mark, Ref: f.Ref}}
		said := true
		switch {
		case f.Levels != nil:
			var level string
			if level, said = c.Level[f.Name]; said {
				part.Ratio, part.Source.Value = f.Levels[level], f.Levels[level]
			}
		case f.PerUnit != 0:
			var v float64
			if v, said = c.Measured[f.Name]; said {
				part.Ratio, part.Source.Value = math.Exp(f.PerUnit*(v-f.From)), f.PerUnit
			}
		default:
			var present bool
			if present, said = c.Present[f.Name]; present {
				part.Ratio, part.Source.Value = f.Ratio, f.Ratio
			}
		}
		if !said {
			p.Unsure = append(p.Unsure, f.Name)
		}
		if part.Source.Value != 0 {
			p.Parts = append(p.Parts, part)
			p.OddsRatio *= part.Ratio
		}
	}
	odds := m.Baseline.Value * p.OddsRatio
	if math.IsInf(odds, 0) || math.IsNaN(odds) {
		return Prediction{}, fmt.Errorf("the case's measures are so far out that its odds cannot be computed: check their units")
	}
	p.Risk = odds / (1 + odds)
	return p, nil
}

// knows checks that the case speaks the model's language.
func (m *Model) knows(c Case) error {
	kind := map[string]Factor{}
	for _, f := range m.Factors {
		kind[f.Name] = f
	}
	for name := range c.Present {
		if f, ok := kind[name]; !ok || f.Ratio == 0 {
			return fmt.Errorf("model %s has no factor %q that is present or not: it has %s", m.ID, name, m.names())
		}
	}
	for name, level := range c.Level {
		f, ok := kind[name]
		if !ok || f.Levels == nil {
			return fmt.Errorf("model %s has no factor %q with levels: it has %s", m.ID, name, m.names())
		}
		if _, ok := f.Levels[level]; !ok {
			return fmt.Errorf("factor %s of model %s has no level %q: it has %s", name, m.ID, level, strings.Join(keys(f.Levels), ", "))
		}
	}
	for name, v := range c.Measured {
		if f, ok := kind[name]; !ok || f.PerUnit == 0 {
			return fmt.Errorf("model %s has no measured factor %q: it has %s", m.ID, name, m.names())
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("the measure %s is %g: give a finite number", name, v)
		}
	}
	return nil
}

func (m *Model) names() string {
	out := make([]string, len(m.Factors))
	for i, f := range m.Factors {
		out[i] = f.Name
	}
	return strings.Join(out, ", ")
}

func keys(m map[string]float64) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
