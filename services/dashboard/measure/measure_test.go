package measure

import (
	"math"
	"slices"
	"testing"

	"zonule/scenarios/eye"
)

// The words follow the model eye: every measure told or left out exists there, in the same unit.
func TestMeasuresFollowTheEye(t *testing.T) {
	units := map[string]string{"uL": "µL", "mN.s": "mN·s", "h": "clock hours", "deg": "degrees", "degC": "°C"}
	has := map[string]bool{}
	for _, info := range eye.MeasureTable() {
		has[info.Name] = true
		m, unit := Named(info.Name), info.Unit
		if u, ok := units[unit]; ok {
			unit = u
		}
		known := slices.ContainsFunc(table, func(m Measure) bool { return m.Name == info.Name })
		if known && (m.Scale == 0 && unit != "" && m.Unit != unit || m.YesNo != info.Bool) {
			t.Errorf("%s is told in %q (yes or no: %v), the eye has %q (%v)", info.Name, m.Unit, m.YesNo, info.Unit, info.Bool)
		}
		if known && leftOut[info.Name] {
			t.Errorf("%s is told and left out", info.Name)
		}
	}
	for _, m := range table {
		if !has[m.Name] {
			t.Errorf("%s is no measure of the eye", m.Name)
		}
	}
	for name := range leftOut {
		if !has[name] {
			t.Errorf("%s, left out, is no measure of the eye", name)
		}
	}
}

func TestNewMeasuresAreToldByTheirNames(t *testing.T) {
	var got []string
	for _, m := range Of(map[string]float64{"zz_new_ul": 1, "iop_mmhg": 20, "harm": 3, "chamber_depth_mm": 3, "aa_new": 1}) {
		got = append(got, m.Heading())
	}
	want := []string{"Depth of the chamber, mm", "Pressure in the chamber, mmHg", "aa new", "zz new ul"}
	if !slices.Equal(got, want) {
		t.Errorf("told %q, want %q", got, want)
	}
}

func TestSay(t *testing.T) {
	for _, c := range []struct {
		name string
		v    float64
		want string
	}{
		{"chamber_depth_mm", 2.04, "2.0"}, {"iop_mmhg", -0.2, "0"}, {"pressure_gap_mmhg", -6.4, "−6"}, {"rent", 1, "yes"}, {"rent", 0, "no"}, {"ovd_fill", 0.725, "72"}, {"iop_mmhg", math.NaN(), "not a number"}, {"unheard_of", 1.25, "1.25"},
	} {
		if got := Named(c.name).Say(c.v); got != c.want {
			t.Errorf("%s at %v reads %q, want %q", c.name, c.v, got, c.want)
		}
	}
	if got := Named("chamber_depth_mm").Heading(); got != "Depth of the chamber, mm" {
		t.Errorf("heading %q", got)
	}
}
