package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"zonule/cmd/zonule/terminal"
	"zonule/scenarios/eye"
	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// runList is a starting eye and what is done to it.
type runList struct {
	spec    eye.Spec
	seed    uint64
	actions []eye.Action
}

// readLineList reads actions one a line. A line "eye strength=0.6 dialysis=3h ..." says the starting
// eye, "seed 7" the seed; # begins a comment.
//
//	eye dialysis=3h dialysis_at=4 grade=4 pieces=8:60,12:60
//	enter phaco-tip
//	pedal 2 for=3s
func readLineList(file string, data []byte, seed uint64) (runList, error) {
	list := runList{seed: seed}
	for i, line := range strings.Split(string(data), "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		if err := list.line(words, line); err != nil {
			return list, fmt.Errorf("%s:%d: %w", file, i+1, err)
		}
	}
	if len(list.actions) == 0 {
		return list, fmt.Errorf("%s holds no action; write one a line, such as: enter phaco-tip", file)
	}
	return list, list.spec.Check()
}

func (l *runList) line(words []string, line string) error {
	switch words[0] {
	case "eye":
		for _, w := range words[1:] {
			name, value, ok := strings.Cut(w, "=")
			if !ok {
				return fmt.Errorf("%q is no part of a starting eye; write name=value", w)
			}
			if err := setSpec(&l.spec, name, value); err != nil {
				return err
			}
		}
		return nil
	case "seed":
		if len(words) != 2 {
			return fmt.Errorf("write seed and one whole number")
		}
		return l.setSeed(words[1])
	}
	free, err := terminal.ParseFree(line)
	if err != nil {
		return err
	}
	for _, a := range free {
		done := eye.Action{Verb: a.GetVerb(), Num: a.GetNumbers(), Word: a.GetWords()}
		if err := done.Check(); err != nil {
			return err
		}
		l.actions = append(l.actions, done)
	}
	return nil
}

func (l *runList) setSeed(word string) (err error) {
	if l.seed, err = strconv.ParseUint(word, 10, 64); err != nil {
		return fmt.Errorf("the seed is %q; it must be a whole number from 0", word)
	}
	return nil
}

// setSpec sets one part of the starting eye from its name and value as written.
func setSpec(s *eye.Spec, name, value string) error {
	fields := eye.SpecFields()
	i := slices.IndexFunc(fields, func(f eye.SpecField) bool { return f.Name == name })
	switch {
	case i >= 0:
		x, err := strconv.ParseFloat(value, 64)
		if err != nil {
			if x, err = eye.ParseQuantity(value, fields[i].Unit); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
		}
		fields[i].Set(s, x)
	case name == "capsulotomy_torn":
		torn, err := strconv.ParseBool(value)
		if err != nil {
			return fmt.Errorf("capsulotomy_torn is %q; write true or false", value)
		}
		s.CapsulotomyTorn = torn
	case name == "pieces":
		return setPieces(s, value)
	case name == "cortex":
		return setCortex(s, value)
	default:
		names := []string{"pieces", "cortex", "capsulotomy_torn"}
		for _, f := range fields {
			names = append(names, f.Name)
		}
		return fmt.Errorf("the starting eye has no %q; it has %s", name, strings.Join(names, ", "))
	}
	return nil
}

// setPieces reads loose pieces as hour:uL, joined by commas.
func setPieces(s *eye.Spec, value string) error {
	for part := range strings.SplitSeq(value, ",") {
		var p eye.Fragment
		hour, ul, ok := strings.Cut(part, ":")
		var err1, err2 error
		p.Hour, err1 = strconv.ParseFloat(hour, 64)
		p.UL, err2 = strconv.ParseFloat(strings.TrimSuffix(ul, "uL"), 64)
		if !ok || err1 != nil || err2 != nil {
			return fmt.Errorf("pieces is %q; write hour:uL,hour:uL such as 8:60,12:60", value)
		}
		s.Fragments = append(s.Fragments, p)
	}
	return nil
}

func setCortex(s *eye.Spec, value string) error {
	s.Cortex = []int{}
	if value == "none" {
		return nil
	}
	for part := range strings.SplitSeq(value, ",") {
		n, err := strconv.Atoi(part)
		if err != nil || n < 0 || n > 12 {
			return fmt.Errorf("cortex is %q; write the clock hours that still hold some, such as 3,4,5, or none", value)
		}
		s.Cortex = append(s.Cortex, n%12)
	}
	return nil
}

// rawList is a list of actions as YAML.
type rawList struct {
	Eye     map[string]any `yaml:"eye"`
	Seed    *uint64        `yaml:"seed"`
	Actions []any          `yaml:"actions"`
}

// readYAMLList reads the starting eye, the seed and the actions, these in the words of scenarios.
func readYAMLList(file string, data []byte, seed uint64) (runList, error) {
	list := runList{seed: seed}
	var raw rawList
	doc, err := text.Parse(file, data)
	if err == nil {
		err = doc.Decode(&raw)
	}
	if err != nil {
		return list, err
	}
	if raw.Seed != nil {
		list.seed = *raw.Seed
	}
	for _, name := range doc.Keys("eye") {
		if err := setSpec(&list.spec, name, strings.Trim(strings.ReplaceAll(fmt.Sprint(raw.Eye[name]), " ", ","), "[]")); err != nil {
			if q, ok := raw.Eye[name].(string); ok { // an amount with its unit apart
				err = setSpec(&list.spec, name, q)
			}
			if err != nil {
				return list, text.Problems{doc.Problem(err.Error(), "", "eye", name)}
			}
		}
	}
	if list.actions, err = script.ParseActions(doc, raw.Actions, "actions"); err != nil {
		return list, err
	}
	if len(list.actions) == 0 {
		return list, fmt.Errorf("%s holds no action; write actions: [{enter: phaco-tip}, ...]", file)
	}
	return list, list.spec.Check()
}
