package script

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

func asMistake(err error, m **rule.Mistake) bool { return errors.As(err, m) }

// names gathers variants, stages, choices and moves, and builds the guards' language from them.
func (r *reader) names(raw rawScenario, sc *Scenario) {
	for _, name := range r.doc.Keys("variants") {
		r.variants = append(r.variants, r.variant(name, raw.Variants[name]))
	}
	if len(r.variants) > 0 {
		r.values = r.variants[0].Values
	}
	for _, v := range r.values {
		if v.Truth {
			r.truths[v.Name] = true
		}
	}
	r.moves = r.doc.Keys("moves")
	r.stages = r.doc.Keys("stages")
	for _, st := range r.stages {
		for _, id := range r.doc.Keys("stages", st, "choices") {
			if slices.Contains(r.choices, id) {
				r.fail(fmt.Sprintf("the choice %q is offered by another stage already", id), "give every choice of a scenario an id of its own", "stages", st, "choices", id)
			}
			r.choices = append(r.choices, id)
		}
	}
	r.broken = len(r.problems) > 0
	lang, err := language(r.choices, r.values)
	if err != nil {
		r.fail(err.Error(), "", "zonule")
		return
	}
	r.lang = lang
}

// variant reads a variant's circumstances; each has the names of the first.
func (r *reader) variant(name string, raw rawVariant) Variant {
	v := Variant{Name: name, About: oneLine(raw.About)}
	r.plainName(name, "a variant", "variants", name)
	for _, key := range r.doc.Keys("variants", name, "values") {
		if !valueName.MatchString(key) {
			r.fail(fmt.Sprintf("%q is no name for a circumstance", key), "use lower-case letters, digits and single underscores", "variants", name, "values", key)
		}
		val, err := r.value(key, raw.Values[key])
		if err != nil {
			v.Values = append(v.Values, Value{Name: key, OneOf: []Amount{{}}})
			r.fail(err.Error(), "write a number, a quantity such as 85 cm, true or false, {one_of: [...]} or {from: ..., to: ...}", "variants", name, "values", key)
			continue
		}
		v.Values = append(v.Values, val)
	}
	if len(r.variants) == 0 {
		return v
	}
	first := r.variants[0]
	for _, want := range first.Values {
		i := slices.IndexFunc(v.Values, func(x Value) bool { return x.Name == want.Name })
		switch {
		case i < 0:
			r.fail(fmt.Sprintf("the variant gives no %s", want.Name), fmt.Sprintf("give the same circumstances as %s", first.Name), "variants", name)
		case v.Values[i].Truth != want.Truth:
			r.fail(fmt.Sprintf("%s is a number in one variant and true or false in another", want.Name), "use one kind", "variants", name, "values", want.Name)
		}
	}
	for _, have := range v.Values {
		if !slices.ContainsFunc(first.Values, func(x Value) bool { return x.Name == have.Name }) {
			r.fail(fmt.Sprintf("%s is not a circumstance of %s", have.Name, first.Name), "every variant gives the same circumstances", "variants", name, "values", have.Name)
		}
	}
	return v
}

func (r *reader) value(name string, raw any) (Value, error) {
	v := Value{Name: name}
	switch x := raw.(type) {
	case map[string]any:
		return rangeOf(v, x)
	case bool:
		v.Truth = true
		v.OneOf = []Amount{{Number: truth(x)}}
		return v, nil
	}
	a, err := parseAmount(raw)
	v.OneOf = []Amount{a}
	return v, err
}

func rangeOf(v Value, m map[string]any) (Value, error) {
	for key := range m {
		if key != "one_of" && key != "from" && key != "to" {
			return v, fmt.Errorf("%q is not known here", key)
		}
	}
	if list, ok := m["one_of"]; ok {
		items, isList := list.([]any)
		if !isList || len(items) == 0 || len(m) > 1 {
			return v, errors.New("one_of wants a list of its own")
		}
		for _, item := range items {
			if b, isBool := item.(bool); isBool {
				v.Truth = true
				v.OneOf = append(v.OneOf, Amount{Number: truth(b)})
				continue
			}
			a, err := parseAmount(item)
			if err != nil {
				return v, err
			}
			v.OneOf = append(v.OneOf, a)
		}
		return v, sameUnits(v.OneOf)
	}
	from, err1 := parseAmount(m["from"])
	to, err2 := parseAmount(m["to"])
	if err := errors.Join(err1, err2); err != nil {
		return v, errors.New("from and to want a number each")
	}
	if from.Number >= to.Number {
		return v, fmt.Errorf("from %v to %v is empty", from, to)
	}
	v.From, v.To = &from, &to
	return v, sameUnits([]Amount{from, to})
}

func sameUnits(as []Amount) error {
	for _, a := range as[1:] {
		if a.Unit != as[0].Unit {
			return fmt.Errorf("the units %q and %q do not go together", as[0].Unit, a.Unit)
		}
	}
	return nil
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

var amountForm = regexp.MustCompile(`^([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(\S.*)?$`)

// parseAmount reads a number with or without a unit; which unit fits is asked where it is used.
func parseAmount(raw any) (Amount, error) {
	switch x := raw.(type) {
	case int, int64, uint64, float64:
		f, err := strconv.ParseFloat(fmt.Sprint(x), 64)
		if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
			return Amount{}, fmt.Errorf("%v is no number a person would write", x)
		}
		return Amount{Number: f}, nil
	case string:
		m := amountForm.FindStringSubmatch(strings.TrimSpace(x))
		if m == nil {
			return Amount{}, fmt.Errorf("%q is no quantity", x)
		}
		f, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return Amount{}, fmt.Errorf("%q is out of range", x)
		}
		return Amount{Number: f, Unit: m[2]}, nil
	}
	return Amount{}, fmt.Errorf("%v is no quantity", raw)
}

// actions reads a list of actions; moves may be named where allowed.
func (r *reader) actions(raw []any, moves bool, path ...any) []Action {
	var out []Action
	for i, item := range raw {
		if a, ok := r.action(item, moves, join(path, i)); ok {
			out = append(out, a)
		}
	}
	return out
}

func (r *reader) action(raw any, moves bool, path []any) (Action, bool) {
	if word, ok := raw.(string); ok {
		a := r.actionOf(word, nil, path)
		return a, true
	}
	m, ok := raw.(map[string]any)
	if !ok || len(m) == 0 {
		r.fail("this is no action", "write a verb, or {verb: argument, ...}", path...)
		return Action{}, false
	}
	keys := r.doc.Keys(path...)
	first := keys[0]
	if first == "move" {
		return r.moveOf(m, moves, path)
	}
	args := map[string]any{}
	for _, k := range keys[1:] {
		if k != "when" {
			args[k] = m[k]
		}
	}
	a := r.verbAction(first, m[first], args, path)
	if when, has := m["when"]; has {
		src, _ := when.(string)
		a.When = r.guard(src, join(path, "when")...)
	}
	return a, true
}

func (r *reader) moveOf(m map[string]any, allowed bool, path []any) (Action, bool) {
	name, _ := m["move"].(string)
	a := Action{Move: name}
	r.movesUsed[name] = true
	for k := range m {
		if k != "move" && k != "when" {
			r.fail(fmt.Sprintf("%q does not go with a move", k), "write {move: name} or {move: name, when: condition}", join(path, k)...)
		}
	}
	switch {
	case !allowed:
		r.fail("a move cannot use another move", "write the actions out", join(path, "move")...)
	case !slices.Contains(r.moves, name):
		r.fail(fmt.Sprintf("there is no move %q", name), nearest(name, r.moves, "define it under moves"), join(path, "move")...)
	}
	if when, has := m["when"]; has {
		src, _ := when.(string)
		a.When = r.guard(src, join(path, "when")...)
	}
	return a, true
}

// verbAction reads {verb: main, other: ...} and {verb: {argument: ...}}.
func (r *reader) verbAction(name string, value any, args map[string]any, path []any) Action {
	verb, ok := eye.LookupVerb(name)
	if !ok {
		return r.actionOf(name, nil, path)
	}
	nested, isMap := value.(map[string]any)
	main, hasMain := mainArgument(verb)
	switch {
	case isMap && len(args) > 0:
		r.fail("some arguments stand inside and some beside the verb", "put all of them inside, or all beside", path...)
		return Action{Verb: name}
	case isMap:
		return r.actionOf(name, nested, join(path, name))
	case value == nil:
	case !hasMain:
		r.fail(fmt.Sprintf("%s takes no bare argument", name), takes(verb), join(path, name)...)
		return Action{Verb: name}
	default:
		if _, twice := args[main.Name]; twice {
			r.fail(fmt.Sprintf("%s is given twice", main.Name), "give it once", join(path, main.Name)...)
		}
		args[main.Name] = value
	}
	return r.actionOf(name, args, path)
}

// actionOf reads the arguments of a verb; path leads to the mapping that holds them.
func (r *reader) actionOf(name string, args map[string]any, path []any) Action {
	a := Action{Verb: name}
	verb, ok := eye.LookupVerb(name)
	if !ok {
		var names []string
		for _, v := range eye.Verbs() {
			names = append(names, v.Name)
		}
		r.fail(fmt.Sprintf("there is no action %q", name), nearest(name, append(names, "move"), "the actions are "+strings.Join(names, ", ")), r.place(path, name)...)
		return a
	}
	before := len(r.problems)
	if r.broken {
		before = -1
	}
	for _, arg := range verb.Args { // in the verb's own order, so that printing is stable
		v, has := args[arg.Name]
		if !has {
			continue
		}
		if t, ok := r.term(v, arg, r.argPlace(path, verb, arg)); ok {
			a.Args = append(a.Args, Argument{arg.Name, t})
		}
	}
	for key := range args {
		if _, ok := argument(verb, key); !ok {
			r.fail(fmt.Sprintf("%s has no argument %q", name, key), nearest(key, argNames(verb), takes(verb)), join(path, key)...)
		}
	}
	if len(r.problems) == before {
		r.tryEverywhere(a, path)
	}
	return a
}

// place leads to the verb's own key where there is one.
func (r *reader) place(path []any, key string) []any {
	if r.doc.Has(join(path, key)...) {
		return join(path, key)
	}
	return path
}

// argPlace leads to an argument, which may stand bare behind its verb.
func (r *reader) argPlace(path []any, verb eye.Verb, arg eye.Arg) []any {
	if p := join(path, arg.Name); r.doc.Has(p...) || !arg.Main {
		return p
	}
	return join(path, verb.Name)
}

// tryEverywhere asks the eye's palette about the action in every variant's extremes.
func (r *reader) tryEverywhere(a Action, path []any) {
	for _, c := range r.corners(a) {
		b, err := a.bind(c)
		if err == nil {
			err = b.Check()
		}
		if err == nil {
			continue
		}
		var refusal *eye.Refusal
		if errors.As(err, &refusal) {
			verb, _ := eye.LookupVerb(a.Verb)
			arg, _ := argument(verb, refusal.Arg)
			r.fail(strings.TrimSpace(refusal.Arg+" "+refusal.Reason), refusal.Instead, r.argPlace(path, verb, arg)...)
		} else {
			r.fail(err.Error(), "", path...)
		}
		return
	}
}

// corners are the extreme circumstances an action's terms can meet, one circumstance at a time.
func (r *reader) corners(a Action) []Circumstances {
	var names []string
	for _, arg := range a.Args {
		if arg.Term.Value != "" {
			names = append(names, arg.Term.Value)
		}
	}
	if len(names) == 0 {
		return []Circumstances{{}}
	}
	var out []Circumstances
	for _, v := range r.variants {
		for _, val := range v.Values {
			if !slices.Contains(names, val.Name) {
				continue
			}
			for _, x := range val.extremes() {
				c := v.Draw(0)
				c[val.Name] = x
				out = append(out, c)
			}
		}
	}
	return out
}

var termForm = regexp.MustCompile(`^([a-z][a-z0-9_]*)\s*(?:([+-])\s*([0-9]+(?:\.[0-9]+)?))?$`)

// term reads one argument: a word, a quantity in the argument's unit, or a circumstance.
func (r *reader) term(raw any, arg eye.Arg, path []any) (Term, bool) {
	if arg.IsWord() {
		w, ok := raw.(string)
		if !ok {
			r.fail(fmt.Sprintf("%s takes a word", arg.Name), "write one of "+strings.Join(arg.Words, ", "), path...)
			return Term{}, false
		}
		return Term{Word: w}, true
	}
	if s, ok := raw.(string); ok {
		if m := termForm.FindStringSubmatch(s); m != nil {
			return r.circumstance(m, path)
		}
	}
	a, err := parseAmount(raw)
	if err == nil {
		_, err = a.In(arg.Unit)
	}
	if err != nil {
		message, do, _ := strings.Cut(err.Error(), "; ")
		r.fail(message, do, path...)
		return Term{}, false
	}
	return Term{Amount: a}, true
}

func (r *reader) circumstance(m []string, path []any) (Term, bool) {
	t := Term{Value: m[1]}
	var names []string
	for _, v := range r.values {
		names = append(names, v.Name)
	}
	if !slices.Contains(names, m[1]) {
		r.fail(fmt.Sprintf("there is no circumstance %q", m[1]), nearest(m[1], names, "give it a value in every variant"), path...)
		return t, false
	}
	r.used[m[1]] = true
	if m[3] != "" {
		t.Number, _ = strconv.ParseFloat(m[3], 64)
		if m[2] == "-" {
			t.Number = -t.Number
		}
	}
	return t, true
}

// whileThinking reads {pedal: 2}.
func (r *reader) whileThinking(raw map[string]any, stage string) *Term {
	if raw == nil {
		return nil
	}
	for key := range raw {
		if key != "pedal" {
			r.fail(fmt.Sprintf("%q cannot go on while the trainee thinks", key), "write while_thinking: {pedal: 0 to 3}", "stages", stage, "while_thinking", key)
		}
	}
	a := r.actionOf("pedal", map[string]any{"position": raw["pedal"]}, []any{"stages", stage, "while_thinking", "pedal"})
	if len(a.Args) == 0 {
		return nil
	}
	return &a.Args[0].Term
}

func argNames(v eye.Verb) []string {
	var names []string
	for _, a := range v.Args {
		names = append(names, a.Name)
	}
	return names
}

func takes(v eye.Verb) string {
	if len(v.Args) == 0 {
		return v.Name + " takes no arguments"
	}
	return "it takes " + strings.Join(argNames(v), ", ")
}

// nearest says what to do about an unknown name.
func nearest(name string, names []string, otherwise string) string {
	if near := text.Nearest(name, names); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	return otherwise
}

// ParseActions reads a list of actions that stands by itself, with amounts and words only, at a path of a
// text: the free actions of a recorded drill. The error is text.Problems.
func ParseActions(doc *text.Doc, raw []any, path ...any) ([]eye.Action, error) {
	r := &reader{doc: doc, used: map[string]bool{}, movesUsed: map[string]bool{}}
	var out []eye.Action
	for i, a := range r.actions(raw, false, path...) {
		if a.When != nil {
			r.fail("a free action has no condition", "take when out", join(path, i)...)
		}
		b, err := a.bind(nil)
		if err != nil {
			r.fail(err.Error(), "write amounts and words", join(path, i)...)
		}
		out = append(out, b)
	}
	return out, r.problems.Err()
}
