package eye

import (
	"regexp"
	"testing"
)

var kebab = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)

func TestCataloguesAreComplete(t *testing.T) {
	names := map[string]bool{}
	once := func(kind, name string) {
		t.Helper()
		if !kebab.MatchString(name) {
			t.Errorf("%s %q is not kebab-case", kind, name)
		}
		if names[name] {
			t.Errorf("%s %q is used twice", kind, name)
		}
		names[name] = true
	}
	for _, f := range Findings() {
		once("finding", f.ID)
		if f.Pattern == "" || f.On == "" || f.Off == "" {
			t.Errorf("finding %q lacks its text or when it switches", f.ID)
		}
	}
	for _, s := range Signals() {
		once("signal", s.Name)
		if s.Meaning == "" {
			t.Errorf("signal %q lacks a meaning", s.Name)
		}
	}
	snake := regexp.MustCompile(`^[a-z]+(_[a-z0-9]+)*$`)
	for i, m := range MeasureTable() {
		if !snake.MatchString(m.Name) || m.Meaning == "" || names[m.Name] {
			t.Errorf("measure %d %q: bad or double name, or no meaning", i, m.Name)
		}
		if j, ok := MeasureIndex(m.Name); !ok || j != i {
			t.Errorf("MeasureIndex(%q) = %d, %v; want %d", m.Name, j, ok, i)
		}
	}
	if _, ok := MeasureIndex("nonsense"); ok {
		t.Error("MeasureIndex knows nonsense")
	}
}

func TestVerbTable(t *testing.T) {
	for _, v := range Verbs() {
		if !kebab.MatchString(v.Name) || v.Meaning == "" {
			t.Errorf("verb %q: bad name or no meaning", v.Name)
		}
		mains := 0
		for _, a := range v.Args {
			if a.Main {
				mains++
			}
			if a.Meaning == "" {
				t.Errorf("%s %s: no meaning", v.Name, a.Name)
			}
			if !a.IsWord() && (a.Min >= a.Max || a.Default < a.Min || a.Default > a.Max) && a.LeftOut == "" {
				t.Errorf("%s %s: default %g outside %g..%g", v.Name, a.Name, a.Default, a.Min, a.Max)
			}
			if len(a.Words) > 0 && !a.Required && a.LeftOut == "" {
				if err := v.checkWord(a, a.DefaultWord); err != nil {
					t.Errorf("%s %s: default word: %v", v.Name, a.Name, err)
				}
			}
		}
		if mains > 1 {
			t.Errorf("verb %q has %d main arguments", v.Name, mains)
		}
	}
}

func TestActionCheck(t *testing.T) {
	num := func(n string, x float64) map[string]float64 { return map[string]float64{n: x} }
	for _, c := range []struct {
		a   Action
		arg string // argument blamed; "-" means it is accepted
	}{
		{Action{Verb: "pedal", Num: num("position", 2)}, "-"},
		{Action{Verb: "pedal"}, "position"},
		{Action{Verb: "pedal", Num: num("position", 1.5)}, "position"},
		{Action{Verb: "pedal", Num: num("position", 4)}, "position"},
		{Action{Verb: "pedal", Num: map[string]float64{"position": 1, "for": 301}}, "for"},
		{Action{Verb: "pedal", Num: map[string]float64{"position": 1, "speed": 3}}, "speed"},
		{Action{Verb: "pedal", Num: num("position", 1), Word: map[string]string{"until": "tuesday"}}, "until"},
		{Action{Verb: "pedal", Num: num("until", 1)}, "until"},
		{Action{Verb: "enter", Word: map[string]string{"instrument": "cutter"}}, "-"},
		{Action{Verb: "say", Word: map[string]string{"words": "call-for-help"}}, "-"},
		{Action{Verb: "say", Word: map[string]string{"words": "Stop it!"}}, "words"},
		{Action{Verb: "withdraw", Num: num("for", 1)}, "for"},
		{Action{Verb: "fly"}, ""},
		{Action{Verb: "machine"}, "-"},
	} {
		err := c.a.Check()
		if c.arg == "-" {
			if err != nil {
				t.Errorf("%+v: %v", c.a, err)
			}
			continue
		}
		r, ok := err.(*Refusal)
		if !ok || r.Arg != c.arg || r.Reason == "" || r.Instead == "" {
			t.Errorf("%+v: got %v; want a refusal of %q", c.a, err, c.arg)
		}
	}
}
