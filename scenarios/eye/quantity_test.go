package eye

import (
	"math"
	"strings"
	"testing"
)

func TestParseQuantity(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64
	}{
		{"88 cm", "cm", 88}, {"88cm", "cm", 88}, {" 88  cmH2O ", "cm", 88},
		{"31 mL/min", "mL/min", 31}, {"500 uL/s", "mL/min", 30},
		{"330 mmHg", "mmHg", 330}, {"100 cmH2O", "mmHg", 73.556}, {"4 kPa", "mmHg", 4000 / 133.322},
		{"45 %", "", 0.45}, {"45%", "", 0.45}, {"0.45", "", 0.45}, {"2", "", 2}, {"-1.5e-1", "", -0.15}, {".5", "", 0.5},
		{"4 s", "s", 4}, {"1.5 min", "s", 90}, {"250 ms", "s", 0.25},
		{"120 uL", "uL", 120}, {"0.12 mL", "uL", 120}, {"120 µL", "uL", 120},
		{"3 mN.mm", "mN.mm", 3}, {"4000 1/min", "1/min", 4000}, {"4000 cuts/min", "1/min", 4000}, {"2 h", "h", 2},
		{"0.9 mm", "mm", 0.9}, {"1e3 um", "mm", 1},
	} {
		got, err := ParseQuantity(c.text, c.unit)
		if err != nil || math.Abs(got-c.want) > 1e-12*math.Abs(c.want) {
			t.Errorf("ParseQuantity(%q, %q) = %v, %v; want %v", c.text, c.unit, got, err, c.want)
		}
	}
}

func TestParseQuantityRefuses(t *testing.T) {
	for _, c := range []struct{ text, unit, says string }{
		{"88", "cm", "has no unit; write cm or cmH2O"},
		{"88 mmHg", "cm", `has the unit "mmHg"; write cm or cmH2O`},
		{"88 MMHG", "mmHg", "write mmHg, cmH2O or kPa"},
		{"fast", "cm", "does not begin with a number"},
		{"", "s", "does not begin with a number"},
		{"-", "", "does not begin with a number"}, {"e5", "", "does not begin with a number"},
		{"NaN", "", "does not begin with a number"}, {"inf s", "s", "does not begin with a number"}, {"1e999 s", "s", "does not begin with a number"},
		{"0x10 s", "s", `has the unit "x10 s"`}, {"1_000 s", "s", "has the unit"},
		{"45 percent", "", "write the bare number or %"},
		{"4 s", "fortnight", "no unit"},
	} {
		got, err := ParseQuantity(c.text, c.unit)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("ParseQuantity(%q, %q) = %v, %v; want an error with %q", c.text, c.unit, got, err, c.says)
		}
	}
}

// Every unit used by a verb or a measure can be read back from its own name.
func TestUnitsCanBeRead(t *testing.T) {
	seen := map[string]bool{}
	for _, v := range Verbs() {
		for _, a := range v.Args {
			seen[a.Unit] = true
		}
	}
	for _, m := range MeasureTable() {
		seen[m.Unit] = true
	}
	for u := range seen {
		if got, err := ParseQuantity("2.5 "+u, u); err != nil || got != 2.5 {
			t.Errorf("unit %q: got %v, %v", u, got, err)
		}
	}
}
