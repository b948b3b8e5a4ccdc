package author

import (
	"fmt"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
)

// inWords writes a condition as a person reads it; "otherwise" for none.
func inWords(g *script.Guard) string {
	if g == nil {
		return "otherwise"
	}
	n, err := rule.Tree(g.Source)
	if err != nil {
		return g.Source
	}
	return words(n)
}

func words(n rule.Node) string {
	switch n.Op {
	case rule.OpAnd, rule.OpOr:
		return side(n, 0) + map[rule.Op]string{rule.OpAnd: " and ", rule.OpOr: " or "}[n.Op] + side(n, 1)
	case rule.OpNot:
		return no(n.Args[0])
	case rule.OpName:
		return yesWords(n.Name)
	case rule.OpCall:
		return callWords(n)
	case rule.OpNumber:
		return fmt.Sprintf("%g", n.Number)
	case rule.OpTruth:
		return map[bool]string{true: "yes", false: "no"}[n.Truth]
	case rule.OpNegative:
		return "-" + words(n.Args[0])
	case rule.OpText, rule.OpOther:
		return n.String()
	}
	if n.Args[1].Op == rule.OpNumber && n.Args[0].Op == rule.OpName {
		name, unit := measureWords(n.Args[0].Name)
		return strings.TrimSpace(fmt.Sprintf("%s %s %g %s", name, sign(n.Op), n.Args[1].Number, unit))
	}
	return operand(n.Args[0]) + " " + sign(n.Op) + " " + operand(n.Args[1])
}

// side writes one side of "and" or "or", with brackets where the two are mixed.
func side(n rule.Node, i int) string {
	inner := n.Args[i]
	if (inner.Op == rule.OpAnd || inner.Op == rule.OpOr) && inner.Op != n.Op {
		return "(" + words(inner) + ")"
	}
	return words(inner)
}

func operand(n rule.Node) string {
	if n.Op == rule.OpName {
		name, _ := measureWords(n.Name)
		return name
	}
	return words(n)
}

func sign(op rule.Op) string {
	switch op {
	case rule.OpAtMost:
		return "≤"
	case rule.OpAtLeast:
		return "≥"
	case rule.OpEqual:
		return "="
	case rule.OpUnequal:
		return "≠"
	}
	return string(op)
}

// no writes the opposite of a condition.
func no(n rule.Node) string {
	switch n.Op {
	case rule.OpName:
		return "not: " + yesWords(n.Name)
	case rule.OpCall:
		if n.Name == "did" {
			return n.Args[0].Name + " not done"
		}
		return "not: " + callWords(n)
	}
	return "not (" + words(n) + ")"
}

func callWords(n rule.Node) string {
	if len(n.Args) != 1 {
		return n.String()
	}
	name := n.Args[0].Name
	switch n.Name {
	case "did":
		return name + " done"
	case "times":
		return "times of " + name
	case "showing":
		return "showing: " + plain(name)
	case "happened":
		if w, ok := strings.CutPrefix(name, "said-"); ok {
			return "“" + w + "” was said"
		}
		return plain(name) + " happened"
	}
	return n.String()
}

// yesWords writes a yes-or-no name: a measure by the first clause of its meaning.
func yesWords(name string) string {
	m, isMeasure := strings.CutPrefix(name, "eye.")
	if i, ok := eye.MeasureIndex(m); isMeasure && ok {
		meaning, _, _ := strings.Cut(eye.MeasureTable()[i].Meaning, ":")
		return meaning
	}
	return plain(strings.TrimPrefix(name, "given."))
}

// measureWords writes a name that stands for a number, and its unit.
func measureWords(name string) (string, string) {
	switch name {
	case "tries":
		return "decisions here", ""
	case "drill_seconds":
		return "seconds in the drill", ""
	case "stage_seconds":
		return "seconds here", ""
	}
	m, isMeasure := strings.CutPrefix(name, "eye.")
	if i, ok := eye.MeasureIndex(m); isMeasure && ok {
		unit := eye.MeasureTable()[i].Unit
		for _, suffix := range []string{"_mm", "_ul", "_mmhg", "_cm", "_s", "_mm2", "_deg", "_hours", "_ml_min", "_c", "_pct"} {
			m = strings.TrimSuffix(m, suffix)
		}
		return plain(m), unit
	}
	return plain(strings.TrimPrefix(name, "given.")), ""
}

func plain(s string) string {
	return strings.NewReplacer("_", " ", "-", " ").Replace(s)
}
