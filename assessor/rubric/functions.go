package rubric

import (
	"zonule/scenarios/script/rule"
)

// Function describes one function of the rule language, for help texts and editors.
type Function struct {
	Name    string
	Args    []string // their names, in order
	Result  rule.Kind
	Meaning string
}

// Functions lists the functions of the rule language in the order of the manual.
func Functions() []Function {
	var out []Function
	for _, f := range table {
		d := Function{Name: f.name, Result: f.result, Meaning: f.meaning}
		for _, a := range f.args {
			d.Args = append(d.Args, a.name)
		}
		out = append(out, d)
	}
	return out
}

// argument is what a function takes; check is nil for a number.
type argument struct {
	name  string
	check func(v *vocabulary, name string) error
}

// function is one function of the language. run must be total: evidence that is not there is
// reported by look.miss.
type function struct {
	name    string
	args    []argument
	result  rule.Kind
	meaning string
	run     func(l *look, a values) (any, error)
}

// values are the arguments of a call; the compiler has checked their kinds.
type values []any

func (v values) text(i int) string    { return v[i].(string) }
func (v values) number(i int) float64 { return v[i].(float64) }

var (
	aMark    = argument{"mark", (*vocabulary).mark}
	aMoment  = argument{"moment", (*vocabulary).moment}
	aFrom    = argument{"from", (*vocabulary).moment}
	aTo      = argument{"to", (*vocabulary).moment}
	aFinding = argument{"finding", (*vocabulary).finding}
	aMeasure = argument{"measure", (*vocabulary).measure}
	aSwitch  = argument{"switch", (*vocabulary).toggle}
	aChoice  = argument{"choice", (*vocabulary).choice}
	aStance  = argument{"stance", (*vocabulary).stance}
	aEnding  = argument{"ending", (*vocabulary).ending}
	aValue   = argument{"value", nil}
	aLimit   = argument{"limit", nil}
)

func args(a ...argument) []argument { return a }

var table = []function{
	{"happened", args(aMark), rule.Bool, "the mark came at least once", happened},
	{"count", args(aMark), rule.Number, "how often the mark came", count},
	{"first", args(aMark), rule.Number, "second at which the mark first came; missing when it never came", first},
	{"last", args(aMark), rule.Number, "second at which the mark last came; missing when it never came", last},
	{"gone", args(aFinding), rule.Bool, "the finding came and was off again at the end; missing when it never came", gone},
	{"before", args(aMark, argument{"other", (*vocabulary).mark}), rule.Bool, "the first mark came before the first other, or the other never came; missing when neither came", before},
	{"seconds", args(aFrom, aTo), rule.Number, "seconds from the first of one to the next of the other after it; without end when the other never came after it; missing when the first never came", seconds},
	{"within", args(aFrom, aTo, aLimit), rule.Bool, "the other came within so many seconds of the first; missing when the first never came or the record ends before the time was up", within},
	{"off_after", args(aSwitch, aMoment), rule.Number, "seconds from the moment until the switch was off; 0 when it was off already, without end when it stayed on; missing when the moment never came", offAfter},
	{"on_after", args(aSwitch, aMoment), rule.Number, "seconds from the moment until the switch was on; 0 when it was on already, without end when it stayed off; missing when the moment never came", onAfter},
	{"kept_on", args(aSwitch, aFrom, aTo), rule.Bool, "the switch was on all the time from the first moment to the next (or the end); missing when the first never came", keptOn},
	{"kept_off", args(aSwitch, aFrom, aTo), rule.Bool, "the switch was off all the time from the first moment to the next (or the end); missing when the first never came", keptOff},
	{"lowest", args(aMeasure), rule.Number, "lowest value of the measure in the drill", lowest},
	{"highest", args(aMeasure), rule.Number, "highest value of the measure in the drill", highest},
	{"at_start", args(aMeasure), rule.Number, "value of the measure when the first stage was shown", atStart},
	{"at_end", args(aMeasure), rule.Number, "value of the measure at the end of the record", atEnd},
	{"lowest_between", args(aMeasure, aFrom, aTo), rule.Number, "lowest value in the stretches that touch the time from one moment to the next other (or the end); missing when the first never came", lowestBetween},
	{"highest_between", args(aMeasure, aFrom, aTo), rule.Number, "highest value, likewise", highestBetween},
	{"lowest_while", args(aMeasure, aFinding), rule.Number, "lowest value in the stretches in which the finding was on; missing when it never was", lowestWhile},
	{"highest_while", args(aMeasure, aFinding), rule.Number, "highest value, likewise", highestWhile},
	{"chose", args(aChoice), rule.Bool, "the choice was made at least once, whether or not the eye could do it", chose},
	{"stance_count", args(aStance), rule.Number, "number of decisions whose choice has that stance", stanceCount},
	{"reason_given", args(aChoice), rule.Bool, "a reason was given with the choice; missing when it was never made", reasonGiven},
	{"decisions", nil, rule.Number, "number of decisions that stand", decisions},
	{"timed_out_count", nil, rule.Number, "number of times the clock decided", timedOut},
	{"refused_count", nil, rule.Number, "number of decisions that the eye could not do", refused},
	{"ended", args(aEnding), rule.Bool, "the drill ended so; missing while it runs", ended},
	{"safe", nil, rule.Bool, "the drill had a safe ending; missing while it runs", safe},
	{"clock_off", nil, rule.Bool, "time limits were switched off for this drill", clockOff},
	{"at_most", args(aValue, aLimit), rule.Bool, "the value is the limit or less", func(_ *look, a values) (any, error) { return a.number(0) <= a.number(1), nil }},
	{"at_least", args(aValue, aLimit), rule.Bool, "the value is the limit or more", func(_ *look, a values) (any, error) { return a.number(0) >= a.number(1), nil }},
}

// language compiles rules over a scenario's names.
func (v *vocabulary) language() (*rule.Language, error) {
	fs := make([]rule.Function, len(table))
	for i, f := range table {
		d := rule.Function{Name: f.name, Result: f.result, Meaning: f.meaning, Names: make([]func(string) error, len(f.args))}
		for k, a := range f.args {
			kind := rule.Number
			if check := a.check; check != nil {
				kind = rule.Text
				d.Names[k] = func(name string) error { return check(v, name) }
			}
			d.Args = append(d.Args, kind)
		}
		d.Call = func(world any, args []any) (any, error) { return f.run(world.(*look), args) }
		fs[i] = d
	}
	return rule.New(nil, fs)
}
