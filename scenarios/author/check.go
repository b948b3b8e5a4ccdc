package author

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

// Bench bounds that are advice, not law: what can be read and weighed in seconds.
const MaxEasyChoices = 4

// Known is what Check is told beside the scenario. Any of it may be left out.
type Known struct {
	Today    string    // year-month-day; a review that was due before is mentioned
	Evidence *Evidence // what the rubric asks for; nil leaves the rubric out
	Untried  bool      // the scenario is not played: only its text is looked at
}

// Verdict is what Check found: what is wrong, and what a careful author would look at again.
type Verdict struct {
	Wrong, Advice text.Problems
}

// inspector gathers the verdict on one scenario.
type inspector struct {
	sc   *script.Scenario
	flow *flow
	Verdict
}

func (c *inspector) wrong(message, do string, path ...any) {
	c.Wrong = append(c.Wrong, c.sc.Problem(message, do, path...))
}

func (c *inspector) advise(message, do string, path ...any) {
	c.Advice = append(c.Advice, c.sc.Problem(message, do, path...))
}

// Check looks at a parsed scenario beyond its form: conditions that can never hold given what their names can
// be, and what they leave unreachable, closed or without exit; panel votes that are missing; words that give
// the case away; choices the rubric cannot see. Then it plays the scenario a little and tries the safe stop
// wherever it comes to.
//
// Conditions are reasoned about name by name; what is not understood counts as possible. So what is called
// impossible is impossible, and some of what is impossible is not found.
func Check(sc *script.Scenario, known Known) Verdict {
	c := &inspector{sc: sc, flow: newFlow(sc)}
	c.arrows()
	c.conditions()
	c.reach()
	c.endings()
	c.words(known.Today)
	c.panels()
	if known.Evidence != nil {
		c.evidence(known.Evidence)
	}
	if len(c.Wrong) == 0 && !known.Untried {
		c.tryOut()
	}
	c.Wrong.Err() // sorts
	c.Advice.Err()
	return c.Verdict
}

// arrows reports transitions that can never be taken. One of anywhere counts when no stage can take it.
func (c *inspector) arrows() {
	taken := map[string]bool{}
	for _, a := range c.flow.arrows {
		if a.barred == open {
			taken[fmt.Sprint(a.path)] = true
		}
	}
	for _, a := range c.flow.arrows {
		key := fmt.Sprint(a.path)
		if taken[key] || !c.flow.reached[a.from] {
			continue
		}
		taken[key] = true // say it once
		switch a.barred {
		case cannot:
			c.never("the condition can never hold here", a.when, a.from, deciding, append(slices.Clone(a.path), "when")...)
		case shadowed:
			c.wrong("this is never taken: whenever it could be, an earlier transition holds", "take it out, or put it earlier", a.path...)
		}
	}
}

// never reports a condition that cannot hold and says what its names can be.
func (c *inspector) never(message string, g *script.Guard, stage string, m moment, path ...any) {
	seen := map[string]bool{}
	var facts []string
	c.flow.tree(g).Walk(func(n rule.Node) {
		name := n.String()
		if n.Op == rule.OpCall && n.Name == "did" {
			name = "times" + name[len("did"):]
		}
		if (n.Op != rule.OpName && n.Op != rule.OpCall) || seen[name] {
			return
		}
		seen[name] = true
		if fact := c.fact(name, stage, m); fact != "" {
			facts = append(facts, fact)
		}
	})
	do := "look at what it asks"
	if len(facts) > 0 {
		do = strings.Join(facts, "; ")
	}
	c.wrong(message, do, path...)
}

// fact says in words what a name can be, over all variants; "" when it is just yes or no, or anything.
func (c *inspector) fact(name, stage string, m moment) string {
	if id, ok := quoted(name, "times"); ok {
		if c.flow.timesSpan(stage, m, id).high == 0 {
			return fmt.Sprintf("%s cannot have been done by then", id)
		}
		return ""
	}
	if w, ok := quoted(name, "happened"); ok && c.flow.happenedSpan(w).high == 0 {
		return fmt.Sprintf("nobody can say %q here", strings.TrimPrefix(w, "said-"))
	}
	var all span
	for i := range c.sc.Variants {
		s := c.flow.span(&c.sc.Variants[i], stage, m, name)
		if i == 0 {
			all = s
			continue
		}
		all.low, all.high = min(all.low, s.low), max(all.high, s.high)
	}
	switch {
	case all.whole && all.low == 0 && all.high == 1 || all.low < -1e300 && all.high > 1e300:
		return ""
	case all.high > 1e300:
		return fmt.Sprintf("%s is %g or more", name, all.low)
	case all.low == all.high:
		return fmt.Sprintf("%s is always %g", name, all.low)
	}
	return fmt.Sprintf("%s is from %g to %g", name, all.low, all.high)
}

// conditions reports conditions elsewhere that can never hold: of added sentences, choices and actions.
func (c *inspector) conditions() {
	for i := range c.sc.Stages {
		st := &c.sc.Stages[i]
		if !c.flow.reached[st.Name] {
			continue
		}
		at := []any{"stages", st.Name}
		for j, s := range st.Also {
			c.asked(s.When, "this sentence is never added", st.Name, shown, join(at, "also", j, "when")...)
		}
		c.actions(st.Arrive, st.Name, shown, join(at, "arrive")...)
		if st.Clock != nil {
			c.actions(st.Clock.Does, st.Name, doing, join(at, "clock", "does")...)
		}
		var none []*rule.Node
		for _, ch := range st.Choices {
			c.asked(ch.When, "this choice is never offered", st.Name, shown, join(at, "choices", ch.ID, "when")...)
			c.actions(ch.Does, st.Name, doing, join(at, "choices", ch.ID, "does")...)
			none = append(none, never(c.flow.tree(ch.When)))
		}
		if c.flow.possible(st.Name, shown, none...) {
			c.advise("all choices here have conditions, which may all fail at once: then only the safe stop is offered", "leave one choice without a condition", join(at, "choices")...)
		}
	}
	for _, m := range c.sc.Moves {
		c.actions(m.Actions, c.sc.First, ended, "moves", m.Name)
	}
}

func (c *inspector) asked(g *script.Guard, message, stage string, m moment, path ...any) {
	if g != nil && !c.flow.possible(stage, m, c.flow.tree(g)) {
		c.never(message+": its condition can never hold", g, stage, m, path...)
	}
}

func (c *inspector) actions(list []script.Action, stage string, m moment, path ...any) {
	for i, a := range list {
		c.asked(a.When, "this is never done", stage, m, join(path, i, "when")...)
	}
}

// reach reports stages that no possible way leads to, that no decision can leave, or that lie in a loop which
// cannot come to an end. Stages that merely lead there are not at fault and are not named.
func (c *inspector) reach() {
	leaves, ends := map[string]bool{}, map[string]bool{}
	stage := func(name string) bool { return slices.Contains(c.flow.stages, name) }
	for changed := true; changed; {
		changed = false
		for _, a := range c.flow.arrows {
			if a.barred != open || a.clock || a.path[0] == "anywhere" || a.to == a.from {
				continue
			}
			leaves[a.from] = true
			if !ends[a.from] && (!stage(a.to) || ends[a.to]) {
				ends[a.from], changed = true, true
			}
		}
	}
	for _, name := range c.flow.stages {
		switch {
		case !c.flow.reached[name]:
			c.wrong("no way that can be taken leads to this stage", "look at the conditions of what leads here", "stages", name)
		case !leaves[name]:
			c.wrong("the stage is a dead end: none of its conditions can hold, so no decision leads out of it", "let the last transition stand without a condition", "stages", name)
		case !ends[name] && c.flow.before[name][name]:
			c.wrong("the stage is in a loop without exit: the ways out of the loop can never be taken", "look at the conditions of the loop's ways out", "stages", name)
		}
	}
}

// endings reports endings that nothing can lead to.
func (c *inspector) endings() {
	var earlier []*rule.Node // the opposite of every condition tried before
	for i, e := range c.sc.Endings {
		g := c.flow.tree(e.When)
		fits := e.When != nil && c.flow.possible(c.sc.First, ended, append(slices.Clone(earlier), g)...)
		alone := e.When == nil || c.flow.possible(c.sc.First, ended, g)
		if e.When != nil {
			earlier = append(earlier, never(g))
		}
		if i == len(c.sc.Endings)-1 {
			fits = fits || c.flow.possible(c.sc.First, ended, earlier...)
		}
		switch {
		case !alone:
			c.never("this ending is never chosen: its condition can never hold", e.When, c.sc.First, ended, "endings", e.ID, "when")
		case c.flow.reached[e.ID] || e.ID == script.SafeEnding || fits && c.flow.reached[script.GoEnding]:
		case fits || e.When == nil && i < len(c.sc.Endings)-1:
			c.wrong("no way that can be taken leads to this ending", "look at the conditions of what leads here", "endings", e.ID)
		default:
			c.wrong("this ending is never chosen: whenever it would fit, an earlier one does", "take it out, or put it earlier", "endings", e.ID)
		}
	}
}

func join(path []any, more ...any) []any { return append(slices.Clone(path), more...) }
