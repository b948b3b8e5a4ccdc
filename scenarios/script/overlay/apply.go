package overlay

import (
	"fmt"
	"slices"

	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// Scenarios lists the ids of the scenarios the overlay changes, in the order of its text.
func (o *Overlay) Scenarios() []string { return o.doc.Keys("scenarios") }

// Problem makes a problem at the overlay's part for a scenario.
func (o *Overlay) Problem(scenario, message, do string) text.Problem {
	return o.doc.Problem(message, do, "scenarios", scenario)
}

// Apply gives the scenario as the overlay changes it: a scenario of its own, whole and checked, whose Digest is that
// of both digests together and whose Overlay says which overlay applied. A scenario that the overlay does not name
// is given back as it is. The error is text.Problems placed in the overlay.
func Apply(sc *script.Scenario, o *Overlay) (*script.Scenario, error) {
	p, named := o.parts[sc.ID]
	if !named {
		return sc, nil
	}
	if sc.Overlay != (script.Applied{}) {
		return nil, text.Problems{o.Problem(sc.ID, fmt.Sprintf("the scenario has been changed by the overlay %s already", sc.Overlay.ID), "apply one overlay to the scenario as it was published")}
	}
	copied, err := script.Parse(sc.ID, script.Format(sc))
	if err != nil {
		return nil, fmt.Errorf("scenario %s cannot be copied: %w", sc.ID, err)
	}
	a := &applier{o: o, sc: copied, part: p}
	a.machine()
	a.settings()
	a.limits()
	a.conditions()
	a.never()
	if err := a.problems.Err(); err != nil {
		return nil, err
	}
	changed, err := script.Parse(sc.ID, script.Format(copied))
	if ps, ok := err.(text.Problems); ok {
		return nil, text.Problems{o.Problem(sc.ID, "with these changes the scenario is wrong: "+ps[0].Message, ps[0].Do)}
	} else if err != nil {
		return nil, err
	}
	changed.Overlay = script.Applied{ID: o.ID, Version: o.Version, Digest: o.Digest, Base: sc.Digest}
	changed.Digest = script.Digest([]byte(Language + "\n" + sc.Digest + "\n" + o.Digest + "\n"))
	return changed, nil
}

// applier changes a copy of a scenario.
type applier struct {
	o        *Overlay
	sc       *script.Scenario
	part     part
	problems text.Problems
}

func (a *applier) fail(message, do string, path ...any) {
	a.problems = append(a.problems, a.o.doc.Problem(message, do, append([]any{"scenarios", a.sc.ID}, path...)...))
}

// merge sets arguments of an action, keeping what is not named.
func merge(args []script.Argument, terms map[string]script.Term) []script.Argument {
	out := slices.Clone(args)
	for i := range out {
		if t, ok := terms[out[i].Name]; ok {
			out[i].Term = t
		}
	}
	for _, name := range sorted(terms) {
		if !slices.ContainsFunc(out, func(x script.Argument) bool { return x.Name == name }) {
			out = append(out, script.Argument{Name: name, Term: terms[name]})
		}
	}
	return out
}

func (a *applier) machine() {
	if a.part.machine != nil {
		a.sc.Machine.Verb, a.sc.Machine.Args = "machine", merge(a.sc.Machine.Args, a.part.machine)
	}
}

func (a *applier) settings() {
	for _, name := range sorted(a.part.settings) {
		list := a.actionsOf(name)
		if list == nil {
			a.fail(fmt.Sprintf("the scenario has no choice and no move %q", name), "name one of them", "settings", name)
			continue
		}
		for _, verb := range sorted(a.part.settings[name]) {
			found := false
			for i := range list {
				if list[i].Verb == verb {
					found = true
					list[i].Args = merge(list[i].Args, a.part.settings[name][verb])
				}
			}
			if !found {
				a.fail(fmt.Sprintf("%s does no %s", name, verb), "name an action that stands in it", "settings", name, verb)
			}
		}
	}
}

// actionsOf gives the actions of a choice or a move; nil when there is none of that name.
func (a *applier) actionsOf(name string) []script.Action {
	if _, ch, ok := a.sc.Choice(name); ok {
		return ch.Does
	}
	for i := range a.sc.Moves {
		if a.sc.Moves[i].Name == name {
			return a.sc.Moves[i].Actions
		}
	}
	return nil
}

func (a *applier) limits() {
	for _, name := range sorted(a.part.limits) {
		st, ok := a.sc.Stage(name)
		if !ok || st.Clock == nil {
			a.fail(fmt.Sprintf("the scenario has no stage %q with a clock", name), "name one that has", "limits", name)
			continue
		}
		st.Clock.Seconds = a.part.limits[name]
	}
}

func (a *applier) conditions() {
	for i, c := range a.part.conditions {
		g := a.guard(c)
		if g == nil {
			a.fail(fmt.Sprintf("nothing in the scenario has the condition %q there", c.was), "write was as it stands in the scenario's text; it may have changed since", "conditions", i, "was")
			continue
		}
		g.Source = c.now
	}
}

// guard finds the condition to replace.
func (a *applier) guard(c condition) *script.Guard {
	is := func(g *script.Guard) bool { return g != nil && g.Source == c.was }
	if c.ending != "" {
		for i := range a.sc.Endings {
			if e := &a.sc.Endings[i]; e.ID == c.ending && is(e.When) {
				return e.When
			}
		}
		return nil
	}
	list := a.sc.Anywhere
	if c.stage != "anywhere" {
		st, ok := a.sc.Stage(c.stage)
		if !ok {
			return nil
		}
		list = st.Next
	}
	for _, t := range list {
		if t.Go == c.to && is(t.When) {
			return t.When
		}
	}
	return nil
}

func (a *applier) never() {
	for _, id := range sorted(a.part.never) {
		_, ch, ok := a.sc.Choice(id)
		if !ok {
			a.fail(fmt.Sprintf("the scenario offers no choice %q", id), "name a choice of its stages", "never", id)
			continue
		}
		ch.Stance, ch.AsksReason = "critical", false
		ch.Because = "never done here: " + a.part.never[id]
	}
}

func sorted[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
