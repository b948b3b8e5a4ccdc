package script

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/script/text"
)

// Bounds that keep a stage readable at the bench.
const (
	MaxWords   = 12 // in a choice
	MaxChoices = 6  // in a stage, the safe stop not counted
)

var stances = []string{"preferred", "acceptable", "suboptimal", "harmful", "critical"}

// checker looks at the scenario as a graph of stages.
type checker struct {
	sc       *Scenario
	problems text.Problems
}

func (c *checker) fail(message, do string, path ...any) {
	c.problems = append(c.problems, c.sc.doc.Problem(message, do, path...))
}

// checkStructure finds dead ends, loops without exit, stages and endings that nothing reaches, and whatever
// a choice lacks.
func checkStructure(sc *Scenario) text.Problems {
	c := &checker{sc: sc}
	if len(sc.Stages) == 0 {
		c.fail("there are no stages", "write at least one stage", "stages")
		return c.problems
	}
	c.names()
	for i := range sc.Stages {
		c.choices(&sc.Stages[i])
	}
	c.targets()
	if len(c.problems) == 0 {
		c.reach()
	}
	return c.problems
}

func (c *checker) names() {
	sc := c.sc
	if _, ok := sc.Stage(sc.First); !ok && sc.First != "" {
		c.fail(fmt.Sprintf("there is no stage %q", sc.First), nearest(sc.First, c.stageNames(), "name one of the stages"), "first")
	}
	safe := false
	for _, e := range sc.Endings {
		safe = safe || e.Safe
		if _, clash := sc.Stage(e.ID); clash || e.ID == GoEnding {
			c.fail(fmt.Sprintf("%q is a stage or a word of the language already", e.ID), "name the ending otherwise", "endings", e.ID)
		}
		if e.ID == SafeEnding && !e.Safe {
			c.fail("the safe stop leads here, so this ending is safe", "write safe: true", "endings", e.ID)
		}
	}
	if !safe {
		c.fail("no ending is safe", "mark at least one ending safe: true", "endings")
	}
	for _, st := range sc.Stages {
		if st.Name == GoEnding {
			c.fail("\"ending\" is a word of the language", "name the stage otherwise", "stages", st.Name)
		}
	}
}

func (c *checker) choices(st *Stage) {
	if len(st.Choices) < 2 || len(st.Choices) > MaxChoices {
		c.fail(fmt.Sprintf("the stage offers %d choices", len(st.Choices)), fmt.Sprintf("offer from 2 to %d; the safe stop is added by itself", MaxChoices), "stages", st.Name, "choices")
	}
	for _, ch := range st.Choices {
		c.choice(ch, "stages", st.Name, "choices", ch.ID)
	}
	if st.Panel == nil {
		return
	}
	sum := 0
	for _, v := range st.Panel.Votes {
		sum += v.Count
		if !slices.ContainsFunc(st.Choices, func(ch Choice) bool { return ch.ID == v.Choice }) || v.Count < 0 {
			c.fail(fmt.Sprintf("%q with %d votes is no choice of this stage, or the votes are no count", v.Choice, v.Count), "give votes to the stage's own choices", "stages", st.Name, "panel", "votes", v.Choice)
		}
	}
	if sum == 0 {
		c.fail("the panel has no votes", "give votes: {choice: how many}", "stages", st.Name, "panel")
	}
}

func (c *checker) choice(ch Choice, path ...any) {
	if ch.ID == SafeStop || ch.ID == ClockRanOut {
		c.fail(fmt.Sprintf("%q is offered by the language itself", ch.ID), "take it out, or give it another id", path...)
	}
	switch n := len(strings.Fields(ch.Say)); {
	case n == 0:
		c.fail("the choice has no words", "write say: what the surgeon would say", path...)
	case n > MaxWords:
		c.fail(fmt.Sprintf("the choice has %d words", n), fmt.Sprintf("say it in at most %d, to be read at 2 m", MaxWords), join(path, "say")...)
	}
	if !slices.Contains(stances, ch.Stance) {
		c.fail(fmt.Sprintf("the stance %q is not known", ch.Stance), "write "+strings.Join(stances, ", "), join(path, "stance")...)
	}
	if ch.Because == "" {
		c.fail("the choice does not say why", "write because: the reason for its stance", path...)
	}
	if ch.Stance == "acceptable" && !ch.AsksReason {
		c.fail("an acceptable choice asks for the reason", "write asks: reason", path...)
	}
}

func (c *checker) stageNames() []string {
	var names []string
	for _, st := range c.sc.Stages {
		names = append(names, st.Name)
	}
	return names
}

// leads reports whether a name is somewhere a transition may go.
func (c *checker) leads(name string) bool {
	_, stage := c.sc.Stage(name)
	_, ending := c.sc.Ending(name)
	return stage || ending || name == GoEnding && len(c.sc.Endings) > 0
}

// targets checks every "go" and "then", and that no transition stands behind one that always holds.
func (c *checker) targets() {
	for i, t := range c.sc.Anywhere {
		c.target(t.Go, "anywhere", i, "go")
		if t.When == nil {
			c.fail("this always holds, so no stage would be left standing", "write when: a condition", "anywhere", i)
		}
	}
	for _, st := range c.sc.Stages {
		for i, t := range st.Next {
			c.target(t.Go, "stages", st.Name, "next", i, "go")
			if t.When == nil && i < len(st.Next)-1 {
				c.fail("the transitions after this one are never tried", "put the one without a condition last", "stages", st.Name, "next", i)
			}
		}
		if st.Clock != nil {
			c.target(st.Clock.Then, "stages", st.Name, "clock", "then")
		}
	}
}

func (c *checker) target(name string, path ...any) {
	if c.leads(name) {
		return
	}
	names := c.stageNames()
	for _, e := range c.sc.Endings {
		names = append(names, e.ID)
	}
	what := fmt.Sprintf("there is no stage or ending %q", name)
	if name == "" {
		what = "this leads nowhere"
	}
	c.fail(what, nearest(name, names, "name a stage, an ending, or ending for the first that fits"), path...)
}

// reach walks the graph from the first stage, and back from the endings.
func (c *checker) reach() {
	reached := map[string]bool{}
	queue := []string{c.sc.First}
	for len(queue) > 0 {
		name := queue[0]
		queue = queue[1:]
		if reached[name] {
			continue
		}
		reached[name] = true
		st, ok := c.sc.Stage(name)
		if !ok {
			continue
		}
		for _, t := range c.sc.Anywhere {
			queue = append(queue, t.Go)
		}
		for _, t := range st.Next {
			queue = append(queue, t.Go)
		}
		if st.Clock != nil {
			queue = append(queue, st.Clock.Then)
		}
	}
	ends := c.canEnd()
	for _, st := range c.sc.Stages {
		c.stageReach(st, reached, ends)
	}
	for i, e := range c.sc.Endings {
		last := i == len(c.sc.Endings)-1
		chosen := reached[GoEnding] && (e.When != nil || last)
		if !reached[e.ID] && !chosen && e.ID != SafeEnding {
			c.fail("nothing reaches this ending", "lead a transition to it, or take it out", "endings", e.ID)
		}
	}
}

func (c *checker) stageReach(st Stage, reached, ends map[string]bool) {
	leaves := slices.ContainsFunc(st.Next, func(t Transition) bool { return t.Go != st.Name })
	switch {
	case !reached[st.Name]:
		c.fail("nothing leads to this stage", "lead a transition to it, or take it out", "stages", st.Name)
	case !leaves:
		c.fail("the stage is a dead end: no decision leads out of it", "write next: [{go: ...}]; a clock may be switched off and does not count", "stages", st.Name)
	case !ends[st.Name]:
		c.fail("the stage is in a loop without exit: no ending can be reached from it", "lead one of the loop's transitions to an ending", "stages", st.Name)
	}
}

// canEnd finds the stages from which decisions alone (no clock, no rule that holds anywhere) lead to an ending.
func (c *checker) canEnd() map[string]bool {
	ends := map[string]bool{}
	for changed := true; changed; {
		changed = false
		for _, st := range c.sc.Stages {
			if ends[st.Name] {
				continue
			}
			for _, t := range st.Next {
				if _, isStage := c.sc.Stage(t.Go); !isStage || ends[t.Go] {
					ends[st.Name], changed = true, true
				}
			}
		}
	}
	return ends
}
