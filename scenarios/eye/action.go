package eye

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// Action is one thing done to the eye: a verb and its arguments, as data, so that a
// scenario file, the wire and a terminal can carry it. Numbers stand in the unit of
// the argument (see [Arg.Unit]).
type Action struct {
	Verb string
	Num  map[string]float64
	Word map[string]string
}

// Refusal says why an action cannot be done. The eye is unchanged.
type Refusal struct {
	Verb    string // the verb of the action
	Arg     string // the argument at fault, empty when it is the action as a whole
	Reason  string // why it cannot be done
	Instead string // what a person can do about it
}

// Error joins the parts to one sentence.
func (r *Refusal) Error() string {
	var b strings.Builder
	b.WriteString(r.Verb)
	if r.Arg != "" {
		b.WriteString(": " + r.Arg)
	}
	b.WriteString(": " + r.Reason)
	if r.Instead != "" {
		b.WriteString("; " + r.Instead)
	}
	return b.String()
}

// Check says whether the action is well formed: a known verb, known arguments within
// their ranges, the required ones present. It does not know the state of an eye, so
// a well-formed action may still be refused by [Eye.Apply]. The error is a *Refusal.
func (a Action) Check() error {
	v, ok := LookupVerb(a.Verb)
	if !ok {
		return &Refusal{a.Verb, "", "no such action", "the actions are " + strings.Join(verbNames(), ", ")}
	}
	for _, name := range sortedKeys(a.Num) {
		arg, ok := v.arg(name)
		if !ok || arg.IsWord() {
			return v.unknownArg(name, ok)
		}
		if err := v.checkNumber(arg, a.Num[name]); err != nil {
			return err
		}
	}
	for _, name := range sortedKeys(a.Word) {
		arg, ok := v.arg(name)
		if !ok || !arg.IsWord() {
			return v.unknownArg(name, ok)
		}
		if err := v.checkWord(arg, a.Word[name]); err != nil {
			return err
		}
	}
	for _, arg := range v.Args {
		_, isNum := a.Num[arg.Name]
		_, isWord := a.Word[arg.Name]
		if arg.Required && !isNum && !isWord {
			return &Refusal{v.Name, arg.Name, "is missing", "give it: " + arg.accepts()}
		}
	}
	return nil
}

func (v Verb) unknownArg(name string, otherKind bool) error {
	if otherKind {
		arg, _ := v.arg(name)
		return &Refusal{v.Name, name, "is of the wrong kind", "it takes " + arg.accepts()}
	}
	names := make([]string, len(v.Args))
	for i, a := range v.Args {
		names[i] = a.Name
	}
	if len(names) == 0 {
		return &Refusal{v.Name, name, "no such argument", "this action takes none"}
	}
	return &Refusal{v.Name, name, "no such argument", "it takes " + strings.Join(names, ", ")}
}

func (v Verb) checkNumber(arg Arg, x float64) error {
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return &Refusal{v.Name, arg.Name, "is not a finite number", "give " + arg.accepts()}
	case x < arg.Min || x > arg.Max:
		return &Refusal{v.Name, arg.Name, fmt.Sprintf("%g is out of range", x), "give " + arg.accepts()}
	case arg.Whole && x != math.Trunc(x):
		return &Refusal{v.Name, arg.Name, fmt.Sprintf("%g is not a whole number", x), "give " + arg.accepts()}
	}
	return nil
}

func (v Verb) checkWord(arg Arg, w string) error {
	if arg.FreeWord {
		if !isFreeWord(w) {
			return &Refusal{v.Name, arg.Name, fmt.Sprintf("%q is not a plain word", w), "give " + arg.accepts()}
		}
		return nil
	}
	for _, ok := range arg.Words {
		if w == ok {
			return nil
		}
	}
	return &Refusal{v.Name, arg.Name, fmt.Sprintf("does not know %q", w), "give " + arg.accepts()}
}

// isFreeWord accepts 1..40 bytes of lower-case letters, digits and single hyphens
// between them, starting with a letter.
func isFreeWord(w string) bool {
	if w == "" || len(w) > 40 || w[0] < 'a' || w[0] > 'z' || w[len(w)-1] == '-' || strings.Contains(w, "--") {
		return false
	}
	for _, c := range []byte(w) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// num gives the number of an argument, or its default.
func (a Action) num(name string) float64 {
	if x, ok := a.Num[name]; ok {
		return x
	}
	v, _ := LookupVerb(a.Verb)
	arg, _ := v.arg(name)
	return arg.Default
}

// word gives the word of an argument, or its default (the first word).
func (a Action) word(name string) string {
	if w, ok := a.Word[name]; ok {
		return w
	}
	v, _ := LookupVerb(a.Verb)
	arg, _ := v.arg(name)
	return arg.DefaultWord
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
