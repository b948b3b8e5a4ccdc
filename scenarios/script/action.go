package script

import (
	"strings"

	"zonule/scenarios/eye"
)

// Action is one action as written: a verb of the eye's palette with its arguments, or the name of a move
// that stands for several. When is asked just before it is done; while it does not hold the action is left
// out.
type Action struct {
	Verb string
	Args []Argument
	Move string
	When *Guard
}

// Argument is one argument of an action.
type Argument struct {
	Name string
	Term Term
}

// Bound is an action whose circumstances are filled in: what the eye takes.
type Bound struct {
	eye.Action
	When *Guard
}

// Bind fills the circumstances into actions and writes moves out.
func (sc *Scenario) Bind(actions []Action, c Circumstances) ([]Bound, error) {
	var out []Bound
	for _, a := range actions {
		if a.Move != "" {
			for _, m := range sc.Moves {
				if m.Name != a.Move {
					continue
				}
				inner, err := sc.Bind(m.Actions, c)
				if err != nil {
					return nil, err
				}
				for _, b := range inner {
					out = append(out, Bound{b.Action, a.When.and(b.When)})
				}
			}
			continue
		}
		b, err := a.bind(c)
		if err != nil {
			return nil, err
		}
		out = append(out, Bound{b, a.When})
	}
	return out, nil
}

// and keeps the inner guard where there is only one; a move's own guard and an inner one both have to hold.
func (g *Guard) and(inner *Guard) *Guard {
	switch {
	case g == nil:
		return inner
	case inner == nil:
		return g
	}
	return &Guard{Source: g.Source, rule: g.rule, truths: g.truths, also: inner}
}

func (a Action) bind(c Circumstances) (eye.Action, error) {
	verb, _ := eye.LookupVerb(a.Verb)
	out := eye.Action{Verb: a.Verb}
	for _, arg := range a.Args {
		info, ok := argument(verb, arg.Name)
		if !ok {
			continue // the eye itself says so when it is checked
		}
		if info.IsWord() {
			if out.Word == nil {
				out.Word = map[string]string{}
			}
			out.Word[arg.Name] = arg.Term.Word
			continue
		}
		x, err := arg.Term.number(info.Unit, isHour(info), info.Whole, c)
		if err != nil {
			return out, err
		}
		if out.Num == nil {
			out.Num = map[string]float64{}
		}
		out.Num[arg.Name] = x
	}
	return out, nil
}

func argument(v eye.Verb, name string) (eye.Arg, bool) {
	for _, a := range v.Args {
		if a.Name == name {
			return a, true
		}
	}
	return eye.Arg{}, false
}

func mainArgument(v eye.Verb) (eye.Arg, bool) {
	for _, a := range v.Args {
		if a.Main {
			return a, true
		}
	}
	return eye.Arg{}, false
}

// isHour reports whether an argument counts clock hours round the eye, so that weak + 4 wraps.
func isHour(a eye.Arg) bool { return a.Name == "hour" || a.Name == "sector" }

// InWords writes an eye's action as a person reads it: "ovd: kind dispersive, up_to 120 uL".
func InWords(a eye.Action) string {
	verb, _ := eye.LookupVerb(a.Verb)
	var parts []string
	for _, arg := range verb.Args {
		if w, ok := a.Word[arg.Name]; ok {
			parts = append(parts, arg.Name+" "+w)
		}
		if x, ok := a.Num[arg.Name]; ok {
			parts = append(parts, arg.Name+" "+Amount{x, arg.Unit}.String())
		}
	}
	if len(parts) == 0 {
		return a.Verb
	}
	return a.Verb + ": " + strings.Join(parts, ", ")
}
