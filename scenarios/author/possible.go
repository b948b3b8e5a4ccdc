package author

import (
	"zonule/scenarios/script/rule"
)

// A condition is reasoned about as a list of cases, each a list of things that all hold (disjunctive normal
// form). A case is possible when every name in it keeps a value it may have. What is not understood counts as
// possible, so that nothing is called impossible wrongly.

// thing is one comparison of a sum of names with a number: sum of weight*name, plus an offset, op 0.
type thing struct {
	terms map[string]float64
	is    comparison
}

// maxCases bounds the work on one condition; beyond it everything counts as possible.
const maxCases = 400

// ranges says what a name (a variable, or a call such as did('hold')) may be.
type ranges func(name string) span

// possible reports whether all the conditions can hold at once. A nil condition always holds.
func possible(r ranges, all ...*rule.Node) bool {
	cases := [][]thing{nil}
	for _, n := range all {
		if n == nil {
			continue
		}
		more, ok := casesOf(*n, true)
		if !ok || len(cases)*len(more) > maxCases {
			return true
		}
		cases = each(cases, more)
	}
	for _, c := range cases {
		if fits(r, c) {
			return true
		}
	}
	return false
}

// each joins every case of a with every case of b.
func each(a, b [][]thing) [][]thing {
	out := make([][]thing, 0, len(a)*len(b))
	for _, x := range a {
		for _, y := range b {
			out = append(out, append(append([]thing(nil), x...), y...))
		}
	}
	return out
}

// casesOf writes a condition (or, not positive, its opposite) as cases; false when it grows too large.
func casesOf(n rule.Node, positive bool) ([][]thing, bool) {
	switch n.Op {
	case rule.OpNot:
		return casesOf(n.Args[0], !positive)
	case rule.OpTruth:
		if n.Truth == positive {
			return [][]thing{nil}, true
		}
		return nil, true
	case rule.OpAnd, rule.OpOr:
		a, ok1 := casesOf(n.Args[0], positive)
		b, ok2 := casesOf(n.Args[1], positive)
		if !ok1 || !ok2 || len(a)*len(b) > maxCases || len(a)+len(b) > maxCases {
			return nil, false
		}
		if (n.Op == rule.OpOr) == positive {
			return append(a, b...), true
		}
		return each(a, b), true
	case rule.OpLess, rule.OpAtMost, rule.OpMore, rule.OpAtLeast, rule.OpEqual, rule.OpUnequal:
		return compared(n, positive), true
	}
	return understood(n, positive), true
}

// understood makes a case of a yes-or-no name. Of what is not understood nothing is asked.
func understood(n rule.Node, positive bool) [][]thing {
	clear := true
	n.Walk(func(n rule.Node) { clear = clear && n.Op != rule.OpOther })
	if !clear {
		return [][]thing{nil}
	}
	return [][]thing{{yes(n, positive)}}
}

// yes says that a yes-or-no name is so.
func yes(n rule.Node, positive bool) thing {
	name, at := n.String(), 1.0
	if n.Op == rule.OpCall && n.Name == "did" {
		name = "times" + name[len("did"):] // did('x') is times('x') >= 1
	}
	is := comparison{">=", at}
	if !positive {
		is = is.turned()
	}
	return thing{map[string]float64{name: 1}, is}
}

// compared writes a comparison as a sum on the left and a number on the right. A comparison of yes-or-no values
// with a literal is read as the value or its opposite.
func compared(n rule.Node, positive bool) [][]thing {
	is := comparison{op: string(n.Op)}
	if !positive {
		is = is.turned()
	}
	for i, side := range n.Args {
		if other := n.Args[1-i]; other.Op == rule.OpTruth && (n.Op == rule.OpEqual || n.Op == rule.OpUnequal) {
			cases, _ := casesOf(side, other.Truth == (is.op == "=="))
			return cases
		}
	}
	left, off1, ok1 := sum(n.Args[0])
	right, off2, ok2 := sum(n.Args[1])
	if !ok1 || !ok2 {
		return understood(n, positive)
	}
	for name, w := range right {
		left[name] -= w
		if left[name] == 0 {
			delete(left, name)
		}
	}
	is.to = off2 - off1
	return [][]thing{{{left, is}}}
}

// sum reads an arithmetic tree as weights of names and a number; false when it is no such sum.
func sum(n rule.Node) (map[string]float64, float64, bool) {
	switch n.Op {
	case rule.OpNumber:
		return map[string]float64{}, n.Number, true
	case rule.OpName, rule.OpCall:
		return map[string]float64{n.String(): 1}, 0, true
	case rule.OpNegative:
		a, off, ok := sum(n.Args[0])
		return scale(a, -1), -off, ok
	case rule.OpPlus, rule.OpMinus:
		a, off1, ok1 := sum(n.Args[0])
		b, off2, ok2 := sum(n.Args[1])
		if !ok1 || !ok2 {
			return nil, 0, false
		}
		if n.Op == rule.OpMinus {
			b, off2 = scale(b, -1), -off2
		}
		for name, w := range b {
			if a[name] += w; a[name] == 0 {
				delete(a, name)
			}
		}
		return a, off1 + off2, true
	case rule.OpTimes, rule.OpOver:
		a, off1, ok1 := sum(n.Args[0])
		b, off2, ok2 := sum(n.Args[1])
		switch {
		case !ok1 || !ok2:
		case len(b) == 0 && n.Op == rule.OpTimes:
			return scale(a, off2), off1 * off2, true
		case len(a) == 0 && n.Op == rule.OpTimes:
			return scale(b, off1), off1 * off2, true
		case len(b) == 0 && off2 != 0:
			return scale(a, 1/off2), off1 / off2, true
		}
	}
	return nil, 0, false
}

func scale(a map[string]float64, k float64) map[string]float64 {
	for name := range a {
		a[name] *= k
	}
	return a
}

// fits reports whether all things of a case can be so together. Things about one name narrow it; things about
// several are then tried against what is left.
func fits(r ranges, all []thing) bool {
	known := map[string]span{}
	look := func(name string) span {
		if s, ok := known[name]; ok {
			return s
		}
		return r(name)
	}
	for _, t := range all {
		if len(t.terms) != 1 {
			continue
		}
		for name, w := range t.terms {
			is := comparison{t.is.op, t.is.to / w}
			if w < 0 {
				is.op = map[string]string{"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}[is.op]
			}
			known[name] = look(name).narrow(is)
			if known[name].empty() {
				return false
			}
		}
	}
	for _, t := range all {
		if len(t.terms) == 1 {
			continue
		}
		s := span{}
		for name, w := range t.terms {
			s = s.plus(look(name).scaled(w, 0))
		}
		if s.narrow(t.is).empty() {
			return false
		}
	}
	return true
}

// never turns a condition into its opposite; nil, which always holds, into one that never does.
func never(n *rule.Node) *rule.Node {
	if n == nil {
		return &rule.Node{Op: rule.OpTruth}
	}
	return &rule.Node{Op: rule.OpNot, Args: []rule.Node{*n}}
}
