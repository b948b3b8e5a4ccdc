package script

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

func asMistake(err error, m **rule.Mistake) bool { return errors.As(err, m) }

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
