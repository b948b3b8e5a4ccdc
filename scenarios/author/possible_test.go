package author

import (
	"fmt"
	"testing"

	"zonule/scenarios/eye"
	"zonule/scenarios/library"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
)

func TestPossible(t *testing.T) {
	r := func(name string) span {
		switch name {
		case "a", "b":
			return yesOrNo
		case "n", "times('x')":
			return span{low: 0, high: 5, whole: true}
		case "w":
			return oneOf([]float64{2, 4, 10})
		case "s":
			return between(1.5, 2.5)
		}
		return anything
	}
	cases := []struct {
		src  string
		want bool
	}{
		{"a", true}, {"a && !a", false}, {"a || !a", true}, {"!(a || !a)", false}, {"a == true && a", true}, {"a != true && a", false}, {"true == !a && a", false},
		{"n > 5", false}, {"n >= 5", true}, {"n > 4 && n < 5", false}, {"n > 4.5 && n != 5", false}, {"n == 2.5", false}, {"n < 1 && n != 0", false},
		{"w == 3", false}, {"w > 4 && w < 10", false}, {"w + 1 == 11", true}, {"2 * w == 7", false}, {"12 - w < 2", false}, {"-w > -3", true}, {"w / 2 > 5", false},
		{"s > 2.5", false}, {"s >= 2.5", true}, {"s > 2 && s < 2", false}, {"s == 2 && s != 2", false}, {"s + w > 12.5", false}, {"s + w >= 12.5", true},
		{"s - s > 0", false}, {"s > 2 && w - s > 8", false}, {"did('x') && times('x') == 0", false}, {"times('x') > 0 && !did('x')", false},
		{"s * w > 100", true}, {"s * w > 100 && !(s * w > 100)", false}, {"(a ? s : w) > 99", true}, {"z > 1000 && z < 999", false},
		{"a && (n > 5 || w == 3 || s > 3)", false}, {"false", false}, {"!false", true}, {"1 > 2", false}, {"2 > 1", true},
	}
	for _, c := range cases {
		n, err := rule.Tree(c.src)
		if err != nil {
			t.Fatalf("%s: %v", c.src, err)
		}
		if got := possible(r, &n); got != c.want {
			t.Errorf("%s: possible %v, want %v", c.src, got, c.want)
		}
	}
}

// Whatever some values make true is never called impossible, and with names that take few values the answer is
// exact: thousands of conditions made by chance against every combination of values.
func TestPossibleAgainstEveryValue(t *testing.T) {
	domains := map[string][]float64{"a": {0, 1}, "b": {0, 1}, "n": {0, 1, 2, 3}, "w": {2, 4, 10}}
	r := func(name string) span {
		if name == "n" {
			return span{low: 0, high: 3, whole: true}
		}
		if name == "w" {
			return oneOf(domains["w"])
		}
		return yesOrNo
	}
	chance := script.NewStream(5, "conditions")
	exact := 0
	for range 4000 {
		src := condition(chance, 3)
		n, err := rule.Tree(src)
		if err != nil {
			t.Fatal(err)
		}
		true1 := false
		for i := range 2 * 2 * 4 * 3 {
			at := map[string]float64{"a": domains["a"][i%2], "b": domains["b"][i/2%2], "n": domains["n"][i/4%4], "w": domains["w"][i/16]}
			true1 = true1 || evaluate(n, at) != 0
		}
		got := possible(r, &n)
		if true1 && !got {
			t.Fatalf("%s can hold and was called impossible", src)
		}
		if got == true1 {
			exact++
		}
	}
	if exact < 3900 { // sums of several names are judged by their bounds only
		t.Errorf("only %d of 4000 answers are exact", exact)
	}
}

func condition(c *script.Stream, depth int) string {
	if depth == 0 || c.Below(4) == 0 {
		switch c.Below(4) {
		case 0:
			return []string{"a", "b", "!a", "!b"}[c.Below(4)]
		case 1:
			return fmt.Sprintf("n %s %d", []string{"<", "<=", ">", ">=", "==", "!="}[c.Below(6)], c.Below(6)-1)
		case 2:
			return fmt.Sprintf("w %s %d", []string{"<", "<=", ">", ">=", "==", "!="}[c.Below(6)], c.Below(12))
		}
		return fmt.Sprintf("w - 2 * n %s %d", []string{"<", ">"}[c.Below(2)], c.Below(14)-5)
	}
	return "(" + condition(c, depth-1) + []string{" && ", " || "}[c.Below(2)] + condition(c, depth-1) + ")"
}

func evaluate(n rule.Node, at map[string]float64) float64 {
	is := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	if n.Op == rule.OpName {
		return at[n.Name]
	}
	if n.Op == rule.OpNumber {
		return n.Number
	}
	x := evaluate(n.Args[0], at)
	if n.Op == rule.OpNot {
		return 1 - x
	}
	if n.Op == rule.OpNegative {
		return -x
	}
	y := evaluate(n.Args[1], at)
	switch n.Op {
	case rule.OpAnd:
		return x * y
	case rule.OpOr:
		return max(x, y)
	case rule.OpMinus:
		return x - y
	case rule.OpTimes:
		return x * y
	}
	return is(comparison{string(n.Op), y}.holds(x))
}

// Every measure stays within what measureSpan says, in every stretch of drills played well, badly and by chance.
func TestMeasuresStayWithinTheirSpans(t *testing.T) {
	items, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	table := eye.MeasureTable()
	for _, it := range items {
		for seed := uint64(1); seed <= 3; seed++ {
			d, err := play.New(it.Scenario, play.Options{Seed: seed})
			if err != nil {
				t.Fatal(err)
			}
			p := it.Policies[int(seed)%len(it.Policies)]
			if err := play.NewPlayer(p, it.Scenario, 0.8, seed).Play(d); err != nil {
				t.Fatal(err)
			}
			for _, s := range d.Timeline().Steps {
				for _, seg := range []play.Segment{s.Thinking, s.Doing} {
					for i, info := range table {
						within := measureSpan(info.Name)
						if seg.Low[i] < within.low || seg.High[i] > within.high {
							t.Fatalf("%s: %s goes from %g to %g, beyond %g to %g", it.ID, info.Name, seg.Low[i], seg.High[i], within.low, within.high)
						}
					}
				}
			}
		}
	}
	for name := range measureSpans {
		if _, ok := eye.MeasureIndex(name); !ok {
			t.Errorf("the eye has no measure %s", name)
		}
	}
}
