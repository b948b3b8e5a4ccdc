package rule

import "testing"

func TestTree(t *testing.T) {
	cases := []struct{ src, want string }{
		{"eye.dialysis_hours >= 4 && !eye.in_bag", "((eye.dialysis_hours >= 4) && (!eye.in_bag))"},
		{"did('hold') || times('turn') > 1.5", "(did('hold') || (times('turn') > 1.5))"},
		{"tries + 1.0 == 2 * -3", "((tries + 1) == (2 * -3))"},
		{"-tries < 0", "((-tries) < 0)"},
		{"tries > 1 ? true : false", "?"},
		{"true != eye.in_bag", "(true != eye.in_bag)"},
		{"a.f('x')", "?"},
	}
	for _, c := range cases {
		n, err := Tree(c.src)
		if err != nil || n.String() != c.want {
			t.Errorf("%s: %v, %v; want %s", c.src, n, err, c.want)
		}
	}
	if _, err := Tree("a && ("); err == nil {
		t.Error("a broken rule has a tree")
	}
	var names int
	n, _ := Tree("eye.a > 1 && eye.b")
	n.Walk(func(n Node) {
		if n.Op == OpName {
			names++
		}
	})
	if names != 2 {
		t.Errorf("%d names were walked", names)
	}
}
