package terminal

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
)

func TestParseAnswer(t *testing.T) {
	cases := []struct {
		line string
		want Answer
		err  string
	}{
		{"2", Answer{Word: "2", Elapsed: -1}, ""},
		{"hold @2.5", Answer{Word: "hold", Elapsed: 2.5}, ""},
		{"hold @2.5s  the bag  moves", Answer{Word: "hold", Elapsed: 2.5, Rest: "the bag  moves"}, ""},
		{"hold the bag moves", Answer{Word: "hold", Elapsed: -1, Rest: "the bag moves"}, ""},
		{"f @3 pedal 1 for=2s; say stop", Answer{Word: "f", Elapsed: 3, Rest: "pedal 1 for=2s; say stop"}, ""},
		{"hold @soon", Answer{}, "from 0 to 600"},
		{"hold @601", Answer{}, "from 0 to 600"},
		{"hold @-1", Answer{}, "from 0 to 600"},
	}
	for _, c := range cases {
		got, err := parseAnswer(c.line)
		if c.err != "" {
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%q: %v, want it to say %q", c.line, err, c.err)
			}
			continue
		}
		if err != nil || got != c.want {
			t.Errorf("%q: %+v, %v; want %+v", c.line, got, err, c.want)
		}
	}
}

func TestParseFree(t *testing.T) {
	got, err := ParseFree("pedal 1 for=2s; ovd dispersive up_to=80uL ; say stop")
	if err != nil {
		t.Fatal(err)
	}
	want := []*drillv1.Action{
		{Verb: "pedal", Numbers: map[string]float64{"position": 1, "for": 2}, Words: map[string]string{}},
		{Verb: "ovd", Numbers: map[string]float64{"up_to": 80}, Words: map[string]string{"kind": "dispersive"}},
		{Verb: "say", Numbers: map[string]float64{}, Words: map[string]string{"words": "stop"}},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("parsed (-want +got):\n%s", diff)
	}
	for line, says := range map[string]string{
		"":                  "name at least one action",
		"dance":             "the palette is",
		"pedal 1 colour=3":  "takes no",
		"withdraw now":      "takes no",
		"machine bottle=2s": "bottle",
	} {
		if _, err := ParseFree(line); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want it to say %q", line, err, says)
		}
	}
}

// Every verb of the palette can be typed with its main argument bare and the rest by name, and the model eye
// takes what was parsed.
func TestWholePaletteCanBeTyped(t *testing.T) {
	for _, v := range eye.Verbs() {
		line := v.Name
		for _, a := range v.Args {
			value := "3"
			switch {
			case len(a.Words) > 0:
				value = a.Words[0]
			case a.IsWord():
				value = "stop"
			case a.Max < 3 || a.Min > 3:
				value = figure(a.Min)
			}
			if a.Main {
				line += " " + value
			} else if a.Required {
				line += " " + a.Name + "=" + value
			}
		}
		got, err := ParseFree(line)
		if err != nil {
			t.Errorf("%q: %v", line, err)
			continue
		}
		if err := (eye.Action{Verb: got[0].GetVerb(), Num: got[0].GetNumbers(), Word: got[0].GetWords()}).Check(); err != nil {
			t.Errorf("%q is parsed to what the eye does not take: %v", line, err)
		}
		if !strings.Contains(Palette(), "  "+v.Name+" ") {
			t.Errorf("the palette does not list %s", v.Name)
		}
	}
}

func TestFold(t *testing.T) {
	s := Style{Width: 40}
	for _, line := range strings.Split(s.hang(strings.Repeat("some words that go on ", 9), "  why: "), "\n") {
		if n := len([]rune(line)); n > 40 || n < 8 {
			t.Errorf("a line of %d: %q", n, line)
		}
	}
	if got, want := s.hang("one", "  a  "), "  a  one"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if strings.Contains(s.bold("x"), "\x1b") || !strings.Contains((Style{Rich: true}).bold("x"), "\x1b[1m") {
		t.Error("bold is for rich terminals only")
	}
}

func TestReadings(t *testing.T) {
	got := readings(map[string]float64{"power": 0.45, "chamber_depth_mm": 2.876, "irrigation_on": 1, "aspirating": 0, "time_s": 12, "ovd_fill": 0.5, "bottle_cm": 92})
	if want := "chamber depth 2.88 mm · bottle 92 cm · power 45 % · viscoelastic fill 50 % · irrigation on"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
