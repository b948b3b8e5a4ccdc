package terminal

import (
	"fmt"
	"strconv"
	"strings"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
)

// ParseFree reads free actions as a person types them: a verb, its main argument bare, further arguments
// as name=value with their units, and "; " between actions.
//
//	pedal 1 for=2s; ovd dispersive up_to=80uL; say stop
func ParseFree(line string) ([]*drillv1.Action, error) {
	var actions []*drillv1.Action
	for part := range strings.SplitSeq(line, ";") {
		words := strings.Fields(part)
		if len(words) == 0 {
			continue
		}
		a, err := parseAction(words)
		if err != nil {
			return nil, err
		}
		actions = append(actions, a)
	}
	if len(actions) == 0 {
		return nil, fmt.Errorf("name at least one action, such as: pedal 1 for=2s")
	}
	return actions, nil
}

func parseAction(words []string) (*drillv1.Action, error) {
	verb, ok := eye.LookupVerb(words[0])
	if !ok {
		return nil, fmt.Errorf("%q is no action; the palette is: %s", words[0], strings.Join(verbNames(), ", "))
	}
	a := &drillv1.Action{Verb: verb.Name, Numbers: map[string]float64{}, Words: map[string]string{}}
	for _, w := range words[1:] {
		name, value, named := strings.Cut(w, "=")
		if !named {
			name, value = mainArg(verb), w
		}
		arg, ok := argNamed(verb, name)
		if !ok {
			return nil, fmt.Errorf("%s takes no %q; it takes: %s", verb.Name, w, strings.Join(argNames(verb), ", "))
		}
		if arg.IsWord() {
			a.Words[name] = value
			continue
		}
		n, err := number(value, arg.Unit)
		if err != nil {
			return nil, fmt.Errorf("%s %s: %w", verb.Name, name, err)
		}
		a.Numbers[name] = n
	}
	return a, nil
}

// number takes a bare number in the argument's own unit, or one with a unit.
func number(text, unit string) (float64, error) {
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		return n, nil
	}
	return eye.ParseQuantity(text, unit)
}

func mainArg(v eye.Verb) string {
	for _, a := range v.Args {
		if a.Main {
			return a.Name
		}
	}
	return ""
}

func argNamed(v eye.Verb, name string) (eye.Arg, bool) {
	for _, a := range v.Args {
		if a.Name == name {
			return a, true
		}
	}
	return eye.Arg{}, false
}

func argNames(v eye.Verb) []string {
	var names []string
	for _, a := range v.Args {
		names = append(names, a.Name)
	}
	if names == nil {
		return []string{"nothing"}
	}
	return names
}

func verbNames() []string {
	var names []string
	for _, v := range eye.Verbs() {
		names = append(names, v.Name)
	}
	return names
}

// Palette describes every action in lines a person can read.
func Palette() string {
	var b strings.Builder
	for _, v := range eye.Verbs() {
		fmt.Fprintf(&b, "  %-14s %s\n", v.Name, v.Meaning)
		for _, a := range v.Args {
			how := a.Name + "="
			if a.Main {
				how = "(" + a.Name + ")"
			}
			fmt.Fprintf(&b, "      %-14s %s\n", how, describe(a))
		}
	}
	return b.String()
}

func describe(a eye.Arg) string {
	switch {
	case len(a.Words) > 0:
		return a.Meaning + ": " + strings.Join(a.Words, " | ")
	case a.IsWord():
		return a.Meaning
	}
	unit := a.Unit
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("%s: %g to %g%s", a.Meaning, a.Min, a.Max, unit)
}
