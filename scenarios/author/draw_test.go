package author

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"testing"

	"zonule/scenarios/library"
	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
)

func TestDraw(t *testing.T) {
	items, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	scenarios := []*script.Scenario{started(t)}
	if !long {
		items = items[:2]
	}
	for _, it := range items {
		scenarios = append(scenarios, it.Scenario)
	}
	for _, sc := range scenarios {
		t.Run(sc.ID, func(t *testing.T) {
			t.Parallel()
			drawing := Draw(sc, Learn(sc, 1))
			words := textOf(t, drawing)
			for _, st := range sc.Stages {
				if !strings.Contains(words, st.Name) {
					t.Errorf("the stage %s is not drawn", st.Name)
				}
				for _, ch := range st.Choices {
					if first := strings.Fields(ch.Say)[0]; !strings.Contains(words, first) {
						t.Errorf("the choice %s is not drawn", ch.ID)
					}
				}
			}
			for _, e := range sc.Endings {
				if !strings.Contains(words, "Ending: "+e.ID) {
					t.Errorf("the ending %s is not drawn", e.ID)
				}
			}
			if regexp.MustCompile(`\{[a-z_]+\}`).MatchString(words) {
				t.Error("something that the drill fills in stands unfilled")
			}
			if size := bodySize * scaleOf(t, drawing); size < 1.9 {
				t.Errorf("the words are %.2f mm on A3", size)
			}
		})
	}
}

// textOf reads the drawing as XML, which it must be, and gives all its words.
func textOf(t *testing.T, drawing []byte) string {
	t.Helper()
	var words strings.Builder
	d := xml.NewDecoder(bytes.NewReader(drawing))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return words.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		if c, ok := tok.(xml.CharData); ok {
			words.Write(c)
		}
	}
}

// scaleOf gives sheet millimetres for one millimetre of the drawing.
func scaleOf(t *testing.T, drawing []byte) float64 {
	t.Helper()
	var wide, high, x, w, h float64
	if _, err := fmt.Sscanf(regexp.MustCompile(`width=.*?" height=.*?" viewBox=".*?"`).FindString(string(drawing)), `width="%fmm" height="%fmm" viewBox="%f 0 %f %f"`, &wide, &high, &x, &w, &h); err != nil {
		t.Fatal(err)
	}
	return wide / w
}

func TestDrawingIsTheSameEveryTime(t *testing.T) {
	sc := started(t)
	one := Draw(sc, Learn(sc, 1))
	if !bytes.Equal(one, Draw(sc, Learn(sc, 1))) {
		t.Error("two drawings of one scenario differ")
	}
	if s := string(Draw(sc, Ways{})); !strings.Contains(s, "not seen in play") {
		t.Error("without having been played the drawing does not say so")
	}
}

// A stance is told by a shape and by a line style of its own, not by colour alone.
func TestStancesAreNotToldByColourAlone(t *testing.T) {
	shapes, lines := map[string]string{}, map[string]string{}
	for _, stance := range []string{"preferred", "acceptable", "suboptimal", "harmful", "critical", "clock"} {
		s := &svg{}
		glyph(s, stance, 0, 0)
		shape := strings.ReplaceAll(s.b.String(), stance, "")
		m := regexp.MustCompile(`\.` + stance + `\{stroke:#[0-9a-f]+;([^}]*)\}`).FindStringSubmatch(style)
		if m == nil {
			t.Fatalf("no line style for %s", stance)
		}
		if other, twice := shapes[shape]; twice {
			t.Errorf("%s has the shape of %s", stance, other)
		}
		if other, twice := lines[m[1]]; twice {
			t.Errorf("%s has the line of %s", stance, other)
		}
		shapes[shape], lines[m[1]] = stance, stance
	}
}

func TestConditionsInWords(t *testing.T) {
	cases := []struct{ src, want string }{
		{"!eye.tip_in_eye", "not: an instrument is in the eye"},
		{"eye.lens_left_ul < 5 && did('hold')", "lens left < 5 uL and hold done"},
		{"tries > 2 || (given.hooks && !did('hold'))", "decisions here > 2 or (hooks and hold not done)"},
		{"happened('said-stop') && showing('eye-hard')", "“stop” was said and showing: eye hard"},
		{"times('x') >= 2.0", "times of x ≥ 2"},
		{"given.span + 1.0 <= eye.dialysis_hours", "span + 1 ≤ dialysis"},
		{"!(tries == 1)", "not (decisions here = 1)"},
	}
	for _, c := range cases {
		n, err := rule.Tree(c.src)
		if err != nil {
			t.Fatal(err)
		}
		if got := words(n); got != c.want {
			t.Errorf("%s: %q, want %q", c.src, got, c.want)
		}
	}
	if inWords(nil) != "otherwise" {
		t.Error("no condition has words")
	}
}
