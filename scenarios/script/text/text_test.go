package text

import (
	"errors"
	"strings"
	"testing"
)

type sample struct {
	Name   string             `yaml:"name"`
	Count  int                `yaml:"count"`
	Stages map[string]subject `yaml:"stages"`
	List   []subject          `yaml:"list"`
}

type subject struct {
	When string `yaml:"when"`
	Go   string `yaml:"go"`
}

const good = `name: a
count: 3
stages:
  crack:
    when: "a == b"
    go: on
  second:
    when: |
      first
      broken here
list:
  - {when: x, go: y}
  - {when: z}
`

func TestDecodeAndFind(t *testing.T) {
	d, err := Parse("s.yaml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	var s sample
	if err := d.Decode(&s); err != nil {
		t.Fatal(err)
	}
	if s.Stages["crack"].Go != "on" || s.List[1].When != "z" {
		t.Errorf("decoded %+v", s)
	}
	if got := strings.Join(d.Keys("stages"), " "); got != "crack second" {
		t.Errorf("keys %q", got)
	}
	cases := []struct {
		name string
		p    Problem
		want string
	}{
		{"a scalar", d.Problem("m", "d", "stages", "crack", "go"), "s.yaml:6:9: m; d"},
		{"a mapping is placed at its key", d.Problem("m", "", "stages", "crack"), "s.yaml:4:3: m"},
		{"a missing key at the deepest there is", d.Problem("m", "", "stages", "crack", "none"), "s.yaml:4:3: m"},
		{"a list item", d.Problem("m", "", "list", 1, "when"), "s.yaml:13:12: m"},
		{"inside a quoted scalar", d.ProblemIn(5, "m", "", "stages", "crack", "when"), "s.yaml:5:17: m"},
		{"inside a plain scalar", d.ProblemIn(1, "m", "", "stages", "crack", "go"), "s.yaml:6:10: m"},
		{"inside a block scalar", d.ProblemIn(len("first\nbroken "), "m", "", "stages", "second", "when"), "s.yaml:10:14: m"},
	}
	for _, c := range cases {
		if got := c.p.String(); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

func TestRefused(t *testing.T) {
	cases := []struct{ name, text, want string }{
		{"unknown key", "name: a\nstagez: {}\n", "s.yaml:2:1:"},
		{"unknown key deep", "stages:\n  a: {when: x, wen: y}\n", "s.yaml:2:16:"},
		{"duplicate key", "name: a\nname: b\n", "s.yaml:2:1:"},
		{"wrong type", "name: a\ncount: many\n", "s.yaml:2:8:"},
		{"not yaml", "name: [a\n", "s.yaml:1:"},
		{"empty", "\n", "s.yaml:1:1: the text is empty"},
		{"two documents", "name: a\n---\nname: b\n", "s.yaml:3:1:"},
		{"an anchor", "name: &x a\n", "s.yaml:1:7:"},
		{"an alias", "name: &x a\nlist: [{when: *x}]\n", "s.yaml:1:7:"},
		{"a merge", "stages:\n  a: {when: x}\n  b:\n    <<: {go: y}\n", "s.yaml:4:5:"},
		{"too long", "name: " + strings.Repeat("a", MaxBytes), "s.yaml:1:1:"},
	}
	for _, c := range cases {
		d, err := Parse("s.yaml", []byte(c.text))
		if err == nil {
			err = d.Decode(&sample{})
		}
		var ps Problems
		if !errors.As(err, &ps) {
			t.Errorf("%s: not refused: %v", c.name, err)
			continue
		}
		if !strings.HasPrefix(ps.Error(), c.want) {
			t.Errorf("%s: %q, want it to begin %q", c.name, ps.Error(), c.want)
		}
	}
}

func TestNearest(t *testing.T) {
	among := []string{"chamber_depth_mm", "iop_mmhg", "dialysis_hours"}
	for word, want := range map[string]string{"dialysis_hour": "dialysis_hours", "iop_mmHg": "iop_mmhg", "colour": "", "chamber_deph_mm": "chamber_depth_mm"} {
		if got := Nearest(word, among); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("a: {b: [1, 2, {c: d}]}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Parse("f.yaml", data)
		if err != nil {
			return
		}
		var s sample
		_ = d.Decode(&s)
		_ = d.Problem("m", "", "stages", "crack", "when").String()
		_ = d.ProblemIn(3, "m", "", "list", 0, "when").String()
	})
}
