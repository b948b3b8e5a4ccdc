package eye

import (
	"fmt"
	"strings"
)

// Verb describes one action for parsers, help text and forms.
type Verb struct {
	Name, Meaning string
	Args          []Arg
}

// Arg describes one argument of a verb: a number with unit and range, or a word.
type Arg struct {
	Name, Unit, Meaning string   // Unit is empty for words and pure numbers
	Words               []string // allowed words; nil for a number or a free word
	Min, Max, Default   float64
	Required            bool
	Main                bool   // may be given bare: {pedal: 2}
	Whole               bool   // only whole numbers
	FreeWord            bool   // any plain word (lower-case letters, digits, hyphens)
	DefaultWord         string // the word meant when it is left out
	LeftOut             string // when not empty: what is meant by leaving it out, in place of Default
}

// IsWord reports whether the argument is a word rather than a number.
func (a Arg) IsWord() bool { return a.FreeWord || len(a.Words) > 0 }

// accepts says in words what may be given.
func (a Arg) accepts() string {
	switch {
	case a.FreeWord:
		return "a word of lower-case letters, digits and hyphens, at most 40"
	case len(a.Words) > 0:
		return "one of " + strings.Join(a.Words, ", ")
	case a.Unit == "" && a.Whole:
		return fmt.Sprintf("a whole number from %g to %g", a.Min, a.Max)
	case a.Unit == "":
		return fmt.Sprintf("a number from %g to %g", a.Min, a.Max)
	}
	return fmt.Sprintf("%g to %g %s", a.Min, a.Max, a.Unit)
}

func (v Verb) arg(name string) (Arg, bool) {
	for _, a := range v.Args {
		if a.Name == name {
			return a, true
		}
	}
	return Arg{}, false
}

// Verbs returns the whole palette of actions in its fixed order. The slice is the
// caller's own; the argument slices are shared and must not be changed.
func Verbs() []Verb { return append([]Verb(nil), verbTable[:]...) }

// LookupVerb finds a verb by name.
func LookupVerb(name string) (Verb, bool) {
	for i := range verbTable {
		if verbTable[i].Name == name {
			return verbTable[i], true
		}
	}
	return Verb{}, false
}

func verbNames() []string {
	names := make([]string, len(verbTable))
	for i := range verbTable {
		names[i] = verbTable[i].Name
	}
	return names
}

func secondsArg(def float64, main bool, meaning string) Arg {
	return Arg{Name: "for", Unit: "s", Meaning: meaning, Min: 0, Max: 300, Default: def, Main: main}
}

func hourArg(main bool, meaning, leftOut string) Arg {
	return Arg{Name: "hour", Meaning: meaning, Min: 0, Max: 12, Main: main, LeftOut: leftOut}
}

const stays = "the present setting stays"
