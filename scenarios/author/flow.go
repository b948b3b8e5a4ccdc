package author

import (
	"slices"

	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
)

// flow is a scenario as a graph whose arrows are known to be possible or not, given the conditions on them.
type flow struct {
	sc      *script.Scenario
	stages  []string
	trees   map[*script.Guard]*rule.Node
	arrows  []arrow
	before  map[string]map[string]bool // stage -> stages that may have been left before it is shown, itself when it may come again
	stays   map[string]bool            // a decision may leave the stage where it is
	reached map[string]bool            // stages and endings
}

// arrow is one way out of a stage.
type arrow struct {
	from, to string
	path     []any
	when     *script.Guard
	clock    bool
	over     []*script.Guard // tried before this one
	barred   why
}

// why an arrow can never be taken.
type why int

const (
	open     why = iota
	cannot       // its own condition can never hold
	shadowed     // whenever it would hold, an earlier one has held
)

func newFlow(sc *script.Scenario) *flow {
	f := &flow{sc: sc, trees: map[*script.Guard]*rule.Node{}}
	for i := range sc.Stages {
		st := &sc.Stages[i]
		f.stages = append(f.stages, st.Name)
		var over []*script.Guard
		for j, t := range sc.Anywhere {
			f.arrows = append(f.arrows, arrow{from: st.Name, to: t.Go, path: []any{"anywhere", j}, when: t.When, over: slices.Clone(over)})
			over = append(over, t.When)
		}
		anywhere := len(over)
		for j, t := range st.Next {
			f.arrows = append(f.arrows, arrow{from: st.Name, to: t.Go, path: []any{"stages", st.Name, "next", j}, when: t.When, over: slices.Clone(over)})
			over = append(over, t.When)
		}
		if st.Clock != nil {
			f.arrows = append(f.arrows, arrow{from: st.Name, to: st.Clock.Then, path: []any{"stages", st.Name, "clock", "then"}, clock: true, over: over[:anywhere]})
		}
	}
	for { // barring an arrow can make another condition impossible, so go on until nothing changes
		f.walk()
		changed := false
		for i := range f.arrows {
			a := &f.arrows[i]
			if a.barred == open && f.reached[a.from] {
				a.barred = f.bar(*a)
				changed = changed || a.barred != open
			}
		}
		if !changed {
			f.walk()
			return f
		}
	}
}

// tree reads a guard; a guard that is no rule cannot be here, because the scenario was parsed.
func (f *flow) tree(g *script.Guard) *rule.Node {
	if g == nil {
		return nil
	}
	if n, ok := f.trees[g]; ok {
		return n
	}
	n, err := rule.Tree(g.Source)
	if err != nil {
		n = rule.Node{Op: rule.OpOther}
	}
	f.trees[g] = &n
	return &n
}

// walk finds what open arrows reach, what may stay, and what may come before what.
func (f *flow) walk() {
	f.reached, f.stays, f.before = map[string]bool{f.sc.First: true}, map[string]bool{}, map[string]map[string]bool{}
	for changed := true; changed; {
		changed = false
		for _, a := range f.arrows {
			if f.reached[a.from] && a.barred == open && !f.reached[a.to] {
				f.reached[a.to], changed = true, true
			}
		}
	}
	for _, st := range f.sc.Stages {
		f.before[st.Name] = map[string]bool{}
		if f.mayStay(st) {
			f.stays[st.Name], f.before[st.Name][st.Name] = true, true
		}
	}
	for changed := true; changed; {
		changed = false
		for _, a := range f.arrows {
			into := f.before[a.to]
			if into == nil || a.barred != open || !f.reached[a.from] {
				continue
			}
			for _, s := range append(sorted(f.before[a.from]), a.from) {
				if !into[s] {
					into[s], changed = true, true
				}
			}
		}
	}
}

// mayStay reports whether a decision may leave the stage shown: a way leads back to it, or no transition holds.
func (f *flow) mayStay(st script.Stage) bool {
	sure := false
	for _, a := range f.arrows {
		if a.from != st.Name || a.clock || a.barred != open {
			continue
		}
		if a.to == st.Name {
			return true
		}
		sure = sure || a.when == nil
	}
	if sure {
		return false
	}
	var none []*rule.Node
	for _, t := range slices.Concat(f.sc.Anywhere, st.Next) {
		none = append(none, never(f.tree(t.When)))
	}
	return f.possible(st.Name, deciding, none...)
}

// bar says whether an arrow can never be taken.
func (f *flow) bar(a arrow) why {
	if a.clock {
		return open
	}
	own := f.tree(a.when)
	if !f.possible(a.from, deciding, own) {
		return cannot
	}
	all := []*rule.Node{own}
	for _, g := range a.over {
		all = append(all, never(f.tree(g)))
	}
	if !f.possible(a.from, deciding, all...) {
		return shadowed
	}
	return open
}

// moment is when a condition is asked.
type moment int

const (
	shown    moment = iota // as the stage is shown
	doing                  // as a choice of it is done
	deciding               // after a decision of the stage
	ended                  // when the ending is chosen
)

// possible reports whether conditions can hold at once at a moment of a stage, in any variant.
func (f *flow) possible(stage string, m moment, all ...*rule.Node) bool {
	for i := range f.sc.Variants {
		v := &f.sc.Variants[i]
		if possible(func(name string) span { return f.span(v, stage, m, name) }, all...) {
			return true
		}
	}
	return false
}

// span gives what a name can be at a moment of a stage.
func (f *flow) span(v *script.Variant, stage string, m moment, name string) span {
	if len(name) > 4 && name[:4] == "eye." {
		return measureSpan(name[4:])
	}
	if len(name) > 6 && name[:6] == "given." {
		return givenSpan(v, name[6:])
	}
	if id, ok := quoted(name, "times"); ok {
		return f.timesSpan(stage, m, id)
	}
	if w, ok := quoted(name, "happened"); ok {
		return f.happenedSpan(w)
	}
	if _, ok := quoted(name, "showing"); ok {
		return yesOrNo
	}
	switch name {
	case "drill_seconds", "stage_seconds":
		return unsigned
	case "tries":
		return f.triesSpan(stage, m)
	}
	return anything
}

func (f *flow) triesSpan(stage string, m moment) span {
	s := countless
	if m == deciding || m == doing {
		s.low = 1
	}
	if m != ended && !f.stays[stage] {
		s.high = s.low
	}
	return s
}

// timesSpan gives how often a choice can have been done.
func (f *flow) timesSpan(stage string, m moment, id string) span {
	none := between(0, 0)
	switch id {
	case script.SafeStop:
		return none // it ends the drill, so nothing is asked after it
	case script.ClockRanOut:
		return countless
	}
	home, _, ok := f.sc.Choice(id)
	if !ok || !f.reached[home.Name] {
		return none
	}
	again := f.before[home.Name][home.Name]
	earlier := m == ended || f.before[stage][home.Name]
	switch here := home.Name == stage && m == deciding; {
	case again && (earlier || here):
		return countless
	case earlier || here:
		return span{low: 0, high: 1, whole: true}
	}
	return none
}

// happenedSpan knows that a word nobody can say is never said.
func (f *flow) happenedSpan(mark string) span {
	if len(mark) < 5 || mark[:5] != "said-" || f.sc.FreeHands || slices.Contains(wordsSaid(f.sc), mark[5:]) {
		return yesOrNo
	}
	return between(0, 0)
}

func sorted(set map[string]bool) []string {
	var out []string
	for k := range set {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
