// Package measure puts the eye's measures into words for a reader: what each is called, its unit, how exactly it is
// told, and which change of it is worth telling. It knows the measures by the names that recorded segments carry.
package measure

import (
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Measure says how one of the eye's measures is read by a person.
type Measure struct {
	Name     string // as the recorded segments have it
	Words    string
	Unit     string  // empty when it has none
	Decimals int     // with which it is told
	Scale    float64 // multiplies the recorded value; 0 stands for 1
	Least    float64 // a change smaller than this, in the recorded unit, is not told
	Always   bool    // told even when it did not change
	YesNo    bool    // 0 or 1: told as no or yes
}

// table is in the order in which they are told. Instruments and settings come after what happens in the eye; the
// summary index of harm is left out, because it invites comparing people.
var table = []Measure{
	{Name: "chamber_depth_mm", Words: "Depth of the chamber", Unit: "mm", Decimals: 1, Least: 0.1, Always: true},
	{Name: "iop_mmhg", Words: "Pressure in the chamber", Unit: "mmHg", Least: 2, Always: true},
	{Name: "pressure_gap_mmhg", Words: "Vitreous pressure above chamber pressure", Unit: "mmHg", Least: 2},
	{Name: "dialysis_hours", Words: "Zonules missing", Unit: "clock hours", Decimals: 1, Least: 0.1},
	{Name: "gap_span_hours", Words: "Longest gap in the zonules", Unit: "clock hours", Decimals: 1, Least: 0.1},
	{Name: "peak_load_ratio", Words: "Highest load on a zonule, of its strength", Unit: "%", Scale: 100, Least: 0.05},
	{Name: "offset_mm", Words: "Bag off centre", Unit: "mm", Decimals: 2, Least: 0.05},
	{Name: "tilt_deg", Words: "Tilt of the bag", Unit: "degrees", Decimals: 1, Least: 0.5},
	{Name: "rent", Words: "Capsule torn", YesNo: true, Least: 0.5},
	{Name: "rent_hazard", Words: "Risk run of tearing the posterior capsule", Unit: "%", Scale: 100, Decimals: 1, Least: 0.005},
	{Name: "hyaloid_breached", Words: "Face of the vitreous broken", YesNo: true, Least: 0.5},
	{Name: "vitreous_in_chamber_ul", Words: "Vitreous in the chamber", Unit: "µL", Decimals: 1, Least: 0.1},
	{Name: "vitreous_left_ul", Words: "Vitreous left in chamber and wound", Unit: "µL", Decimals: 1, Least: 0.1},
	{Name: "vitreous_cut_ul", Words: "Vitreous cut away", Unit: "µL", Decimals: 1, Least: 0.1},
	{Name: "vitreous_lost_ul", Words: "Vitreous lost in all", Unit: "µL", Decimals: 1, Least: 0.1},
	{Name: "strand", Words: "Strand engaged in the port", Unit: "%", Scale: 100, Least: 0.02},
	{Name: "wound_strand", Words: "Strand caught in the wound", Unit: "%", Scale: 100, Least: 0.02},
	{Name: "traction_mns", Words: "Pull on the vitreous base, summed", Unit: "mN·s", Decimals: 1, Least: 0.1},
	{Name: "lens_left_ul", Words: "Lens matter left", Unit: "µL", Least: 1},
	{Name: "fragments_left", Words: "Loose pieces of nucleus left", Least: 0.5},
	{Name: "cortex_sectors_left", Words: "Sectors still holding cortex, of twelve", Least: 0.5},
	{Name: "ovd_fill", Words: "Chamber filled with viscoelastic", Unit: "%", Scale: 100, Least: 0.03},
	{Name: "endothelial_loss_pct", Words: "Corneal endothelial cells lost", Unit: "%", Decimals: 1, Least: 0.1},
	{Name: "wound_c", Words: "Temperature of the wound", Unit: "°C", Decimals: 1, Least: 0.5},
	{Name: "wound_gape", Words: "Burned wound stands open", Unit: "%", Scale: 100, Least: 0.02},
	{Name: "burn_s", Words: "Time above 60 °C at the wound", Unit: "s", Decimals: 1, Least: 0.1},
	{Name: "shallow_s", Words: "Time with the chamber under 1.5 mm", Unit: "s", Decimals: 1, Least: 0.1},
	{Name: "hard_s", Words: "Time with the chamber above 65 mmHg", Unit: "s", Decimals: 1, Least: 0.1},
	{Name: "in_bag", Words: "Bag still hangs", YesNo: true, Least: 0.5},
	{Name: "ring_in", Words: "Capsular tension ring in the bag", YesNo: true, Least: 0.5},
	{Name: "hooks", Words: "Hooks supporting the bag", Least: 0.5},
	{Name: "implant_in_bag", Words: "Implant in the bag", YesNo: true, Least: 0.5},
	{Name: "implant_in_sulcus", Words: "Implant in the sulcus", YesNo: true, Least: 0.5},
	{Name: "optic_captured", Words: "Optic captured in the opening", YesNo: true, Least: 0.5},
	{Name: "implant_rubs", Words: "Implant rubs the iris", YesNo: true, Least: 0.5},
	{Name: "implant_support", Words: "Hold of the implant", Unit: "%", Scale: 100, Least: 0.02},
	{Name: "implant_slip_mm", Words: "Implant slipped from its place", Unit: "mm", Decimals: 1, Least: 0.1},
	{Name: "implant_lost", Words: "Implant slipped out of view", YesNo: true, Least: 0.5},
	{Name: "left_without_implant", Words: "Left without an implant", YesNo: true, Least: 0.5},
	{Name: "vitreous_stained", Words: "Vitreous stained", YesNo: true, Least: 0.5},
	{Name: "wound_sealed", Words: "Wound sealed", YesNo: true, Least: 0.5},
	{Name: "pupil_mm", Words: "Pupil", Unit: "mm", Decimals: 1, Least: 0.2},
	{Name: "pupil_held", Words: "Pupil held open", YesNo: true, Least: 0.5},
	{Name: "pupil_blocked", Words: "Iris lies on the capsule all round", YesNo: true, Least: 0.5},
	{Name: "iris_prolapse", Words: "Iris in the wound", Unit: "%", Scale: 100, Least: 0.02},
	{Name: "iris_damage", Words: "Wear of the iris", Decimals: 2, Least: 0.02},
	{Name: "iris_at_port", Words: "Iris drawn into the port", YesNo: true, Least: 0.5},
	{Name: "outside_pressure_mmhg", Words: "Pressure of lids, speculum and drape", Unit: "mmHg", Least: 1},
	{Name: "misdirected_ul", Words: "Fluid astray behind the bag", Unit: "µL", Least: 2},
	{Name: "choroid_blood_ul", Words: "Blood under the choroid", Unit: "µL", Least: 2},
	{Name: "choroid_bleeding", Words: "Choroid bleeds", YesNo: true, Least: 0.5},
	{Name: "membrane_flap", Words: "Descemet's membrane hanging free", Unit: "%", Scale: 100, Least: 0.01},
	{Name: "air_fill", Words: "Chamber filled with air", Unit: "%", Scale: 100, Least: 0.03},
	{Name: "gap_ovd", Words: "Gap filled with viscoelastic", Unit: "%", Scale: 100, Least: 0.03},
	{Name: "cortex_pull_mn", Words: "Pull the last cortex took", Unit: "mN", Decimals: 1, Least: 0.2},
	{Name: "segments", Words: "Sutured segments supporting the bag", Least: 0.5},
	{Name: "wound_sutured", Words: "Wound stitched", YesNo: true, Least: 0.5},
	{Name: "patient_calmed", Words: "Patient spoken to or sedated", YesNo: true, Least: 0.5},
	{Name: "phaco_in", Words: "Ultrasound tip in the eye", YesNo: true, Least: 0.5},
	{Name: "aspiration_in", Words: "Aspiration tip in the eye", YesNo: true, Least: 0.5},
	{Name: "cutter_in", Words: "Vitreous cutter in the eye", YesNo: true, Least: 0.5},
	{Name: "irrigation_clamped", Words: "Irrigation clamped", YesNo: true, Least: 0.5},
	{Name: "pedal", Words: "Pedal position", Least: 0.5},
	{Name: "vacuum_mmhg", Words: "Vacuum in the line", Unit: "mmHg", Least: 5},
	{Name: "bottle_cm", Words: "Bottle height set", Unit: "cm", Least: 0.5},
	{Name: "flow_ml_min", Words: "Aspiration flow set", Unit: "mL/min", Least: 0.5},
	{Name: "vacuum_limit_mmhg", Words: "Vacuum limit set", Unit: "mmHg", Least: 0.5},
	{Name: "power", Words: "Ultrasound power set", Unit: "%", Scale: 100, Least: 0.005},
}

// Say words a recorded value without its unit.
func (m Measure) Say(v float64) string {
	if m.YesNo {
		if v >= 0.5 {
			return "yes"
		}
		return "no"
	}
	if m.Scale != 0 {
		v *= m.Scale
	}
	return Numeral(v, m.Decimals)
}

// Heading is the measure with its unit.
func (m Measure) Heading() string {
	if m.Unit == "" {
		return m.Words
	}
	return m.Words + ", " + m.Unit
}

// leftOut are measures that are not told: steps on the way to others, summaries, and what the marks say already.
var leftOut = map[string]bool{
	"time_s": true, "harm": true, "new_dialysis_hours": true, "wobble": true, "gap_mm2": true, "traction_hazard": true, "cde": true,
	"lowest_depth_mm": true, "highest_iop_mmhg": true, "lowest_iop_mmhg": true, "vitreous_pressure_mmhg": true, "tip_in_eye": true,
	"wound_open": true, "irrigation_on": true, "aspirating": true, "ultrasound_on": true, "occlusion": true, "aspirated_ml_min": true,
	"irrigated_ml_min": true, "nearness": true, "supported": true, "weak_hour": true,
}

// Of gives the measures that are told of a record: those that have words, in their order, then those that are new to
// this table under the names they were recorded by, so that a newer model eye is never told in part.
func Of(recorded map[string]float64) []Measure {
	var out []Measure
	known := map[string]bool{}
	for _, m := range table {
		known[m.Name] = true
		if _, ok := recorded[m.Name]; ok {
			out = append(out, m)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(recorded)) {
		if !known[name] && !leftOut[name] {
			out = append(out, Named(name))
		}
	}
	return out
}

// Named gives the measure of a name. One without words of its own is called by its name, which carries its unit.
func Named(name string) Measure {
	for _, m := range table {
		if m.Name == name {
			return m
		}
	}
	return Measure{Name: name, Words: strings.ReplaceAll(name, "_", " "), Decimals: 2, Least: 0.01}
}

// Numeral writes a number with so many decimals, a true minus sign and no minus zero.
func Numeral(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not a number"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}
