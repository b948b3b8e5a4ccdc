package script

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

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
