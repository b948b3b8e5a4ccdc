package script

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

// Guard is a compiled condition.
type Guard struct {
	Source string
	rule   *rule.Rule
	truths map[string]bool // circumstances that are true or false
	also   *Guard          // has to hold too
}

// State is what a guard may ask of a running drill.
type State interface {
	// Measure reads a measure of the eye by name.
	Measure(name string) float64
	// Given reads a circumstance of the variant.
	Given(name string) float64
	// Seconds gives the drill's clock and the seconds since the stage was first shown on this visit.
	Seconds() (drill, stage float64)
	// Tries counts the decisions taken on this visit of the stage, the one just taken included.
	Tries() int
	// Times counts how often a choice was done.
	Times(choice string) int
	// Showing reports whether a finding is on now.
	Showing(finding string) bool
	// Happened reports whether a mark was left since the first stage was shown.
	Happened(mark string) bool
}

// Holds evaluates the guard; a nil guard always holds. Missing evidence means that it does not hold.
func (g *Guard) Holds(s State) (bool, error) {
	if g == nil {
		return true, nil
	}
	if g.rule == nil {
		return false, fmt.Errorf("the condition %q was never compiled; parse the scenario first", g.Source)
	}
	ok, err := g.rule.Holds(func(name string) (any, bool) { return g.variable(s, name) }, s)
	if errors.Is(err, rule.ErrMissing) {
		return false, nil
	}
	if !ok || err != nil || g.also == nil {
		return ok, err
	}
	return g.also.Holds(s)
}

func (g *Guard) variable(s State, name string) (any, bool) {
	switch name {
	case "drill_seconds":
		drill, _ := s.Seconds()
		return drill, true
	case "stage_seconds":
		_, stage := s.Seconds()
		return stage, true
	case "tries":
		return float64(s.Tries()), true
	}
	if m, ok := strings.CutPrefix(name, "eye."); ok {
		i, known := eye.MeasureIndex(m)
		if !known {
			return nil, false
		}
		if measureInfo[i].Bool {
			return s.Measure(m) != 0, true
		}
		return s.Measure(m), true
	}
	if v, ok := strings.CutPrefix(name, "given."); ok {
		if g.truths[v] {
			return s.Given(v) != 0, true
		}
		return s.Given(v), true
	}
	return nil, false
}

var measureInfo = eye.MeasureTable()

// PassedOver is the mark left when the eye could not do an action of an authored choice; the text says which
// and why.
const PassedOver = "passed-over"

// language builds the guards' language of one scenario.
func language(choices []string, values []Value) (*rule.Language, error) {
	vars := []rule.Variable{
		{Name: "drill_seconds", Kind: rule.Number, Meaning: "seconds on the drill's clock"},
		{Name: "stage_seconds", Kind: rule.Number, Meaning: "seconds since the stage was first shown on this visit"},
		{Name: "tries", Kind: rule.Number, Meaning: "decisions taken on this visit of the stage, this one included"},
	}
	for _, m := range measureInfo {
		kind := rule.Number
		if m.Bool {
			kind = rule.Bool
		}
		vars = append(vars, rule.Variable{Name: "eye." + m.Name, Kind: kind, Meaning: m.Meaning})
	}
	for _, v := range values {
		kind := rule.Number
		if v.Truth {
			kind = rule.Bool
		}
		vars = append(vars, rule.Variable{Name: "given." + v.Name, Kind: kind, Meaning: "circumstance"})
	}
	return rule.New(vars, functions(choices))
}

func functions(choices []string) []rule.Function {
	one := func(what string, names []string) []func(string) error {
		return []func(string) error{func(n string) error { return known(what, n, names) }}
	}
	choices = append(slices.Clone(choices), SafeStop, ClockRanOut)
	marks := MarkNames()
	var findings []string
	for _, f := range eye.Findings() {
		findings = append(findings, f.ID)
	}
	ask := func(name, meaning string, result rule.Kind, names []func(string) error, f func(State, string) any) rule.Function {
		return rule.Function{Name: name, Args: []rule.Kind{rule.Text}, Result: result, Meaning: meaning, Names: names,
			Call: func(w any, args []any) (any, error) { return f(w.(State), args[0].(string)), nil }}
	}
	happened := []func(string) error{func(n string) error {
		if strings.HasPrefix(n, "said-") {
			return nil
		}
		return known("finding or signal", n, marks)
	}}
	return []rule.Function{
		ask("did", "the choice was taken and done", rule.Bool, one("choice", choices), func(s State, n string) any { return s.Times(n) > 0 }),
		ask("times", "how often the choice was taken and done", rule.Number, one("choice", choices), func(s State, n string) any { return float64(s.Times(n)) }),
		ask("showing", "the finding is on now", rule.Bool, one("finding", findings), func(s State, n string) any { return s.Showing(n) }),
		ask("happened", "the finding or signal came at some time since the first stage", rule.Bool, happened, func(s State, n string) any { return s.Happened(n) }),
	}
}

// MarkNames lists what a timeline's marks may be called: findings, signals, and the mark of an action that
// was passed over. Besides these there is said- followed by any word.
func MarkNames() []string {
	var names []string
	for _, f := range eye.Findings() {
		names = append(names, f.ID)
	}
	for _, s := range eye.Signals() {
		names = append(names, s.Name)
	}
	return append(names, PassedOver)
}

func known(what, name string, names []string) error {
	if slices.Contains(names, name) {
		return nil
	}
	if near := text.Nearest(name, names); near != "" {
		return fmt.Errorf("%q is no %s; did you mean %q?", name, what, near)
	}
	return fmt.Errorf("%q is no %s", name, what)
}
