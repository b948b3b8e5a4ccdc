package measure

import (
	"math"
	"testing"

	"zonule/scenarios/eye"
)

// The words follow the model eye: every measure named here exists there, in the same unit, and every measure of the
// eye is either told or left out on purpose.
func TestMeasuresFollowTheEye(t *testing.T) {
	units := map[string]string{"uL": "µL", "mN.s": "mN·s", "h": "clock hours", "deg": "degrees", "degC": "°C"}
	leftOut := map[string]bool{
		"time_s": true, "harm": true, "new_dialysis_hours": true, "wobble": true, "gap_mm2": true, "traction_hazard": true, "cde": true, "lowest_depth_mm": true, "highest_iop_mmhg": true, "lowest_iop_mmhg": true,
		"vitreous_pressure_mmhg": true, "tip_in_eye": true, "wound_open": true, "irrigation_on": true, "aspirating": true, "ultrasound_on": true, "occlusion": true, "aspirated_ml_min": true, "irrigated_ml_min": true, "nearness": true, "supported": true, "weak_hour": true,
	}
	told := map[string]Measure{}
	for _, m := range table {
		told[m.Name] = m
	}
	for _, info := range eye.MeasureTable() {
		m, ok := told[info.Name]
		delete(told, info.Name)
		if ok == leftOut[info.Name] {
			t.Errorf("%s: told %v, left out on purpose %v", info.Name, ok, leftOut[info.Name])
		}
		unit := info.Unit
		if u, ok := units[unit]; ok {
			unit = u
		}
		if ok && m.Scale == 0 && unit != "" && m.Unit != unit || ok && m.YesNo != info.Bool {
			t.Errorf("%s is told in %q (yes or no: %v), the eye has %q (%v)", info.Name, m.Unit, m.YesNo, info.Unit, info.Bool)
		}
	}
	for name := range told {
		t.Errorf("%s is no measure of the eye", name)
	}
}

func TestSay(t *testing.T) {
	for _, c := range []struct {
		name string
		v    float64
		want string
	}{
		{"chamber_depth_mm", 2.04, "2.0"}, {"iop_mmhg", -0.2, "0"}, {"pressure_gap_mmhg", -6.4, "−6"}, {"rent", 1, "yes"}, {"rent", 0, "no"}, {"ovd_fill", 0.725, "72"}, {"iop_mmhg", math.NaN(), "not a number"}, {"unheard_of", 1.25, "1.2"},
	} {
		if got := Named(c.name).Say(c.v); got != c.want {
			t.Errorf("%s at %v reads %q, want %q", c.name, c.v, got, c.want)
		}
	}
	if got := Named("chamber_depth_mm").Heading(); got != "Depth of the chamber, mm" {
		t.Errorf("heading %q", got)
	}
}
