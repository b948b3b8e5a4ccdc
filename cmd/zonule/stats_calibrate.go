package main

import (
	"fmt"

	"zonule/assessor/calibrate"
)

type statsRasch struct{ statsFile }

// Run calibrates items scored 0 or 1.
func (c *statsRasch) Run(sh *shell) error { return c.scale(sh, "rasch", calibrate.Rasch) }

type statsRSM struct{ statsFile }

// Run calibrates items with thresholds at the same distances.
func (c *statsRSM) Run(sh *shell) error { return c.scale(sh, "rsm", calibrate.RatingScale) }

type statsPCM struct{ statsFile }

// Run calibrates items with thresholds of their own.
func (c *statsPCM) Run(sh *shell) error { return c.scale(sh, "pcm", calibrate.PartialCredit) }

// scale calibrates by one of the three models.
func (f statsFile) scale(sh *shell, method string, model func([][]float64) (*calibrate.Scale, error)) error {
	return f.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: method}
		people, items, responses, err := d.matrix("person")
		if err != nil {
			return r, err
		}
		s, err := model(responses)
		if err != nil {
			return r, err
		}
		t := r.table("items", "item", "location", "error", "infit", "outfit", "infit_standard", "outfit_standard", "responses")
		for i, item := range s.Items {
			t.row(append([]any{items[i], item.Location.Value, item.Location.Error}, fitCells(item.Fit)...)...)
		}
		t = r.table("thresholds", "item", "threshold", "value", "error")
		for i, item := range s.Items {
			for k, e := range item.Thresholds {
				t.row(items[i], k+1, e.Value, e.Error)
			}
		}
		if len(s.Steps) > 0 {
			t = r.table("steps", "step", "value", "error")
			for k, e := range s.Steps {
				t.row(k+1, e.Value, e.Error)
			}
		}
		personsTable(&r, people, s.Persons)
		r.note("Conditional log likelihood %.6f, from %d persons whose total is neither lowest nor highest. Origin: the mean of all thresholds.", s.LogLikelihood, s.Informative)
		return r, nil
	})
}

func fitCells(f *calibrate.Fit) []any {
	if f == nil {
		return []any{nil, nil, nil, nil, nil}
	}
	return []any{f.Infit, f.Outfit, f.InfitStandard, f.OutfitStandard, f.Responses}
}

// personsTable lists persons in the order of the data; nobody is ranked.
func personsTable(r *statsResult, people []string, measures []calibrate.Measure) {
	t := r.table("persons", "person", "score", "most", "ability_warm", "error", "ability_ml", "error_ml", "infit", "outfit")
	for i, m := range measures {
		ml, mle, infit, outfit := any(nil), any(nil), any(nil), any(nil)
		if m.Likelihood != nil {
			ml, mle = m.Likelihood.Value, m.Likelihood.Error
		}
		if m.Fit != nil {
			infit, outfit = m.Fit.Infit, m.Fit.Outfit
		}
		t.row(people[i], m.Score, m.Most, m.Warm.Value, m.Warm.Error, ml, mle, infit, outfit)
	}
	r.note("Persons stand in the order of the data. An ability here describes answers in drills; it ranks nobody.")
}

type statsFacets struct{ statsFile }

// Run puts items and raters on one scale.
func (c *statsFacets) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "facets"}
		var cells [3][]string
		for i, name := range []string{"person", "item", "rater"} {
			var err error
			if cells[i], err = d.text(name); err != nil {
				return r, err
			}
		}
		scores, err := d.wholes("score")
		if err != nil {
			return r, err
		}
		ratings := make([]calibrate.Rating, len(scores))
		for i, s := range scores {
			ratings[i] = calibrate.Rating{Person: cells[0][i], Item: cells[1][i], Rater: cells[2][i], Score: s}
		}
		f, err := calibrate.Severity(ratings)
		if err != nil {
			return r, err
		}
		for _, side := range []struct {
			name   string
			levels []calibrate.Level
		}{{"items", f.Items}, {"raters", f.Raters}} {
			t := r.table(side.name, "name", "measure", "error", "infit", "outfit", "infit_standard", "outfit_standard", "responses")
			for _, l := range side.levels {
				t.row(append([]any{l.Name, l.Measure.Value, l.Measure.Error}, fitCells(l.Fit)...)...)
			}
		}
		t := r.table("steps", "step", "value", "error")
		for k, e := range f.Steps {
			t.row(k+1, e.Value, e.Error)
		}
		personsTable(&r, f.People, f.Persons)
		r.note("%s", fmt.Sprintf("Conditional log likelihood %.6f, from %d persons whose total is neither lowest nor highest. Items, raters and steps each have mean 0.", f.LogLikelihood, f.Informative))
		return r, nil
	})
}
