package script

import (
	"math"
	"strings"
	"testing"
)

// The stream is the model eye's own kind; the figures are those of its description (section 10: first output
// 0x55decc15543e2e3d and its uniform for seed 1, purpose "zonule").
func TestStream(t *testing.T) {
	if got := NewStream(1, "zonule").next(); got != 0x55decc15543e2e3d {
		t.Errorf("first output %#x", got)
	}
	if got := NewStream(1, "zonule").Uniform(); got != 0.33543086548547113 {
		t.Errorf("first uniform %.17g", got)
	}
	counts := make([]int, 5)
	s := NewStream(3, "below")
	for range 5000 {
		counts[s.Below(5)]++
	}
	for i, c := range counts {
		if math.Abs(float64(c)-1000) > 5*math.Sqrt(800) { // five standard deviations of a binomial
			t.Errorf("%d came %d times of 5000", i, c)
		}
	}
}

func TestDraw(t *testing.T) {
	sc := parsed(t, good(t))
	easier, _ := sc.Variant("easier")
	seen := map[float64]bool{}
	for seed := range uint64(50) {
		c := easier.Draw(seed)
		seen[c["weak"].Number] = true
		if x := c["span"].Number; x < 1.5 || x > 2 || c["span"].Unit != "h" {
			t.Errorf("seed %d: span %v", seed, c["span"])
		}
		if again := easier.Draw(seed); again["span"] != c["span"] || again["weak"] != c["weak"] {
			t.Errorf("seed %d draws differently twice", seed)
		}
	}
	if len(seen) != 2 || !seen[2] || !seen[10] {
		t.Errorf("weak was drawn from %v", seen)
	}
}

func TestBind(t *testing.T) {
	sc := parsed(t, good(t))
	c := Circumstances{"weak": {Number: 10}, "span": {Number: 2, Unit: "h"}, "hooks": {Number: 1}}
	spec, err := sc.Eye.Spec(c)
	if err != nil {
		t.Fatal(err)
	}
	if spec.DialysisAt != 10 || spec.DialysisHours != 2 || spec.LensUL != 120 || spec.Fragments[0].Hour != 2 || spec.Fragments[1].Hour != 6 || len(spec.Cortex) != 3 {
		t.Errorf("starting eye %+v", spec)
	}
	_, ring, _ := sc.Choice("ring")
	bound, err := sc.Bind(ring.Does, c)
	if err != nil || len(bound) != 1 || bound[0].Num["hour"] != 4 || bound[0].When.Source != "!eye.rent" {
		t.Errorf("ring: %+v, %v", bound, err)
	}
	_, fill, _ := sc.Choice("fill")
	bound, err = sc.Bind(fill.Does, c)
	if err != nil || len(bound) != 3 || bound[1].Verb != "ovd" || bound[1].Num["up_to"] != 200 || bound[1].Word["kind"] != "dispersive" {
		t.Errorf("the move is not written out: %+v, %v", bound, err)
	}
	machine, err := sc.Bind([]Action{sc.Machine}, c)
	if err != nil || machine[0].Num["power"] != 0.45 || machine[0].Num["bottle"] != 88 {
		t.Errorf("machine: %+v, %v", machine, err)
	}
	if got := InWords(bound[1].Action); got != "ovd: kind dispersive, up_to 200 uL" {
		t.Errorf("in words: %q", got)
	}
}

func TestHoursWrap(t *testing.T) {
	for _, c := range []struct{ at, add, want float64 }{{10, 4, 2}, {2, -4, 10}, {12, 0, 12}, {6, 6, 12}, {6, -6, 12}, {11.5, 1, 0.5}} {
		term := Term{Amount: Amount{Number: c.add}, Value: "weak"}
		got, err := term.number("", true, false, Circumstances{"weak": {Number: c.at}})
		if err != nil || got != c.want {
			t.Errorf("%g + %g o'clock = %g, %v; want %g", c.at, c.add, got, err, c.want)
		}
	}
	if h := onClock(1e300); !(h > 0 && h <= 12) {
		t.Errorf("1e300 o'clock is %g", h)
	}
}

func TestFill(t *testing.T) {
	got := Fill("The edge at {weak} o'clock, {span}. {findings}", "Wrinkles. ", Circumstances{"weak": {Number: 9.6}, "span": {Number: 2.2, Unit: "h"}})
	if got != "The edge at 10 o'clock, 2 h. Wrinkles." {
		t.Errorf("filled: %q", got)
	}
}

// Every verb and argument of the eye's palette can be written and means the same when printed.
func TestPaletteIsWritable(t *testing.T) {
	sc := parsed(t, good(t))
	for _, line := range []string{
		"{machine: {bottle: 60 cm, mode: torsional, pump: vacuum, us: free, cuts: 4000 /min}}", "{pedal: 3, for: 9 s, until: fragment-gone}",
		"{enter: cutter, irrigation: separate}", "withdraw", "{place: 0.4, hour: weak + 1}", "{clamp: on}", "{reflux: 50 mmHg, for: 500 ms}",
		"{ovd: cohesive, up_to: 0.1 mL, stop: 30 mmHg, port: main, where: gap}", "{chop: {hour: 3, force: rough, stop: 1 mm, pieces: 3}}",
		"{sculpt: 4}", "{rotate: 3 mN.mm}", "hydrodissect", "{take: 1}", "{strip: 12, direction: radial, way: dry}", "{ring: 4}", "hooks", "{hooks: 4}",
		"{cut: 20 s, vacuum: 200 mmHg, flow: 12 mL/min, cuts: 4000 /min, bottle: 40 cm, nearness: 0.5}", "{pull: port}", "{implant: bag, hour: weak}",
		"check-strands", "{remove-ovd: 6 s}", "stain", "seal", "{squeeze: 12 mmHg, for: 2 s}", "{wait: 2 s}", "{say: help}",
	} {
		text := strings.Replace(string(good(t)), "{pedal: 1, for: 1 s}", line, 1)
		first := parsed(t, []byte(text))
		second := parsed(t, Format(first))
		_, a, _ := first.Choice("hold")
		_, b, _ := second.Choice("hold")
		if a.Does[0].String() != b.Does[0].String() {
			t.Errorf("%s: printed %s, then %s", line, a.Does[0], b.Does[0])
		}
		v, _ := sc.Variant("easier")
		before, err1 := first.Bind(a.Does[:1], v.Draw(1))
		after, err2 := second.Bind(b.Does[:1], v.Draw(1))
		if err1 != nil || err2 != nil || InWords(before[0].Action) != InWords(after[0].Action) {
			t.Errorf("%s: means %v, then %v (%v, %v)", line, before, after, err1, err2)
		}
	}
}
