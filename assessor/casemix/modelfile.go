package casemix

import (
	"fmt"
	"math"
	"strings"

	"zonule/scenarios/script/text"
)

// marks are the origins a number may have.
var marks = []string{"published", "secondary", "own-data", "from-memory", "assumed"}

type modelSource struct {
	Zonule   string                  `yaml:"zonule"`
	ID       string                  `yaml:"id"`
	Outcome  string                  `yaml:"outcome"`
	Use      string                  `yaml:"use"`
	Baseline numberSource            `yaml:"baseline"`
	Factors  map[string]factorSource `yaml:"factors"`
}

type numberSource struct {
	Odds    *float64 `yaml:"odds"`
	LogOdds *float64 `yaml:"log_odds"`
	Mark    string   `yaml:"mark"`
	Ref     string   `yaml:"ref"`
}

type factorSource struct {
	OddsRatio   *float64           `yaml:"odds_ratio"`
	Coefficient *float64           `yaml:"coefficient"`
	Levels      map[string]float64 `yaml:"levels"`
	PerUnit     *float64           `yaml:"per_unit"`
	From        float64            `yaml:"from"`
	Mark        string             `yaml:"mark"`
	Ref         string             `yaml:"ref"`
}

// ParseModel reads a model. The error is text.Problems: everything found wrong, each with file,
// line, column and what to do about it. A number without its origin is wrong.
func ParseModel(file string, data []byte) (*Model, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, err
	}
	var src modelSource
	if err := doc.Decode(&src); err != nil {
		return nil, err
	}
	r := reader{doc: doc}
	m := r.model(src)
	if err := r.problems.Err(); err != nil {
		return nil, err
	}
	return m, nil
}

type reader struct {
	doc      *text.Doc
	problems text.Problems
}

func (r *reader) wrong(message, do string, path ...any) {
	r.problems = append(r.problems, r.doc.Problem(message, do, path...))
}

func (r *reader) model(src modelSource) *Model {
	if src.Zonule != "risk/1" {
		r.wrong("this is no risk model", `begin with "zonule: risk/1"`, "zonule")
	}
	m := &Model{ID: src.ID, Outcome: src.Outcome, Use: src.Use}
	for key, v := range map[string]string{"id": src.ID, "outcome": src.Outcome, "use": src.Use} {
		if strings.TrimSpace(v) == "" {
			r.wrong(key+" is missing", "say it: a model is read by people first", key)
		}
	}
	m.Baseline = Source{Mark: src.Baseline.Mark, Ref: src.Baseline.Ref}
	r.origin(src.Baseline.Mark, src.Baseline.Ref, "baseline")
	switch b := src.Baseline; {
	case (b.Odds == nil) == (b.LogOdds == nil):
		r.wrong("the baseline needs odds or log_odds, one of them", "give the odds of a case with no factor present", "baseline")
	case b.Odds != nil:
		m.Baseline.Value = *b.Odds
	default:
		m.Baseline.Value = math.Exp(*b.LogOdds)
	}
	if src.Baseline.Odds != nil || src.Baseline.LogOdds != nil {
		r.ratio(m.Baseline.Value, "baseline")
	}
	for _, name := range r.doc.Keys("factors") {
		m.Factors = append(m.Factors, r.factor(name, src.Factors[name]))
	}
	if len(m.Factors) == 0 {
		r.wrong("the model has no factors", "give at least one", "factors")
	}
	return m
}

// origin insists that a number says where it comes from.
func (r *reader) origin(mark, ref string, path ...any) {
	known := false
	for _, m := range marks {
		known = known || m == mark
	}
	if !known {
		r.wrong(fmt.Sprintf("the mark %q is none", mark), "write mark: "+strings.Join(marks, ", "), path...)
	}
	if strings.TrimSpace(ref) == "" {
		r.wrong("the number has no ref", "say where it comes from", path...)
	}
}

// ratio insists on odds, or an odds ratio, that can be.
func (r *reader) ratio(v float64, path ...any) {
	if !(v >= 1e-9 && v <= 1e9) {
		r.wrong(fmt.Sprintf("odds or an odds ratio of %g cannot be", v), "give a number between 1e-9 and 1e9", path...)
	}
}

func (r *reader) factor(name string, src factorSource) Factor {
	f := Factor{Name: name, Mark: src.Mark, Ref: src.Ref, From: src.From}
	r.origin(src.Mark, src.Ref, "factors", name)
	kinds := 0
	if src.OddsRatio != nil {
		kinds++
		f.Ratio = *src.OddsRatio
		r.ratio(f.Ratio, "factors", name)
	}
	if src.Coefficient != nil {
		kinds++
		f.Ratio = math.Exp(*src.Coefficient)
		r.ratio(f.Ratio, "factors", name)
	}
	if src.Levels != nil {
		kinds++
		f.Levels = src.Levels
		for _, v := range src.Levels {
			r.ratio(v, "factors", name, "levels")
		}
	}
	if src.PerUnit != nil {
		kinds++
		f.PerUnit = *src.PerUnit
		if !(math.Abs(f.PerUnit) > 0 && math.Abs(f.PerUnit) <= 20) || math.IsNaN(f.From) || math.IsInf(f.From, 0) {
			r.wrong(fmt.Sprintf("%g of log odds for each unit over %g cannot be", f.PerUnit, f.From), "give a number other than 0, up to 20, and a finite from", "factors", name)
		}
	}
	if kinds != 1 {
		r.wrong("a factor is of exactly one kind", "give one of odds_ratio, coefficient, levels, per_unit", "factors", name)
	}
	return f
}
