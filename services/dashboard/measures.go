package dashboard

import (
	"math"
	"strconv"
)

// measure says how one of the eye's measures is read by a person. The names are those of the recorded segments.
type measure struct {
	name     string
	words    string
	unit     string
	decimals int
	scale    float64 // multiplies the recorded value; 0 stands for 1
	least    float64 // a change smaller than this, in the recorded unit, is not told
	always   bool    // told even when it did not change
	yes      bool    // 0 or 1: told as no or yes
}

// measures are in the order in which they are told. Instruments and settings come after what happens in the eye; the
// summary index of harm is left out, because it invites comparing people.
var measures = []measure{
	{name: "chamber_depth_mm", words: "Depth of the chamber", unit: "mm", decimals: 1, least: 0.1, always: true},
	{name: "iop_mmhg", words: "Pressure in the chamber", unit: "mmHg", least: 2, always: true},
	{name: "pressure_gap_mmhg", words: "Vitreous pressure above chamber pressure", unit: "mmHg", least: 2},
	{name: "dialysis_hours", words: "Zonules missing", unit: "clock hours", decimals: 1, least: 0.1},
	{name: "gap_span_hours", words: "Longest gap in the zonules", unit: "clock hours", decimals: 1, least: 0.1},
	{name: "peak_load_ratio", words: "Highest load on a zonule, of its strength", unit: "%", scale: 100, least: 0.05},
	{name: "offset_mm", words: "Bag off centre", unit: "mm", decimals: 2, least: 0.05},
	{name: "tilt_deg", words: "Tilt of the bag", unit: "degrees", decimals: 1, least: 0.5},
	{name: "rent", words: "Capsule torn", yes: true, least: 0.5},
	{name: "rent_hazard", words: "Risk run of tearing the posterior capsule", unit: "%", scale: 100, decimals: 1, least: 0.005},
	{name: "hyaloid_breached", words: "Face of the vitreous broken", yes: true, least: 0.5},
	{name: "vitreous_in_chamber_ul", words: "Vitreous in the chamber", unit: "µL", decimals: 1, least: 0.1},
	{name: "vitreous_left_ul", words: "Vitreous left in chamber and wound", unit: "µL", decimals: 1, least: 0.1},
	{name: "vitreous_cut_ul", words: "Vitreous cut away", unit: "µL", decimals: 1, least: 0.1},
	{name: "vitreous_lost_ul", words: "Vitreous lost in all", unit: "µL", decimals: 1, least: 0.1},
	{name: "strand", words: "Strand engaged in the port", unit: "%", scale: 100, least: 0.02},
	{name: "wound_strand", words: "Strand caught in the wound", unit: "%", scale: 100, least: 0.02},
	{name: "traction_mns", words: "Pull on the vitreous base, summed", unit: "mN·s", decimals: 1, least: 0.1},
	{name: "lens_left_ul", words: "Lens matter left", unit: "µL", least: 1},
	{name: "fragments_left", words: "Loose pieces of nucleus left", least: 0.5},
	{name: "cortex_sectors_left", words: "Sectors still holding cortex, of twelve", least: 0.5},
	{name: "ovd_fill", words: "Chamber filled with viscoelastic", unit: "%", scale: 100, least: 0.03},
	{name: "endothelial_loss_pct", words: "Corneal endothelial cells lost", unit: "%", decimals: 1, least: 0.1},
	{name: "wound_c", words: "Temperature of the wound", unit: "°C", decimals: 1, least: 0.5},
	{name: "burn_s", words: "Time above 60 °C at the wound", unit: "s", decimals: 1, least: 0.1},
	{name: "shallow_s", words: "Time with the chamber under 1.5 mm", unit: "s", decimals: 1, least: 0.1},
	{name: "hard_s", words: "Time with the chamber above 65 mmHg", unit: "s", decimals: 1, least: 0.1},
	{name: "in_bag", words: "Bag still hangs", yes: true, least: 0.5},
	{name: "ring_in", words: "Capsular tension ring in the bag", yes: true, least: 0.5},
	{name: "hooks", words: "Hooks supporting the bag", least: 0.5},
	{name: "implant_in_bag", words: "Implant in the bag", yes: true, least: 0.5},
	{name: "implant_in_sulcus", words: "Implant in the sulcus", yes: true, least: 0.5},
	{name: "left_without_implant", words: "Left without an implant", yes: true, least: 0.5},
	{name: "vitreous_stained", words: "Vitreous stained", yes: true, least: 0.5},
	{name: "wound_sealed", words: "Wound sealed", yes: true, least: 0.5},
	{name: "phaco_in", words: "Ultrasound tip in the eye", yes: true, least: 0.5},
	{name: "aspiration_in", words: "Aspiration tip in the eye", yes: true, least: 0.5},
	{name: "cutter_in", words: "Vitreous cutter in the eye", yes: true, least: 0.5},
	{name: "irrigation_clamped", words: "Irrigation clamped", yes: true, least: 0.5},
	{name: "pedal", words: "Pedal position", least: 0.5},
	{name: "vacuum_mmhg", words: "Vacuum in the line", unit: "mmHg", least: 5},
	{name: "bottle_cm", words: "Bottle height set", unit: "cm", least: 0.5},
	{name: "flow_ml_min", words: "Aspiration flow set", unit: "mL/min", least: 0.5},
	{name: "vacuum_limit_mmhg", words: "Vacuum limit set", unit: "mmHg", least: 0.5},
	{name: "power", words: "Ultrasound power set", unit: "%", scale: 100, least: 0.005},
}

// say words a recorded value without its unit.
func (m measure) say(v float64) string {
	if m.yes {
		if v >= 0.5 {
			return "yes"
		}
		return "no"
	}
	if m.scale != 0 {
		v *= m.scale
	}
	return numeral(v, m.decimals)
}

// heading is the measure with its unit.
func (m measure) heading() string {
	if m.unit == "" {
		return m.words
	}
	return m.words + ", " + m.unit
}

// change is a measure over one decision. A part that was not recorded reads "not recorded".
type change struct {
	Measure                         string
	Before, At, After, Lowest, Most string
	Moved                           bool
}

const notRecorded = "not recorded"

// changes tells which measures a decision and the thinking before it moved.
func changes(before, at, after map[string]float64, ranges ...map[string]float64) []change {
	var out []change
	for _, m := range measures {
		a, ok := after[m.name]
		if !ok {
			continue
		}
		values := []float64{a}
		tell := func(from map[string]float64) string {
			v, ok := from[m.name]
			if !ok {
				return notRecorded
			}
			values = append(values, v)
			return m.say(v)
		}
		c := change{Measure: m.heading(), Before: tell(before), At: tell(at), After: m.say(a)}
		for _, r := range ranges {
			tell(r)
		}
		low, high := extent(values)
		c.Lowest, c.Most = m.say(low), m.say(high)
		c.Moved = high-low >= m.least
		if c.Moved || m.always {
			out = append(out, c)
		}
	}
	return out
}

func extent(values []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return low, high
}

// evidenceValue words a value that an assessment gives with its own unit.
func evidenceValue(v float64, unit string) string {
	s := strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
	if unit == "" {
		return s
	}
	return s + nb + unit
}
