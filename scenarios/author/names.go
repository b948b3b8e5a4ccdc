package author

import (
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// measureSpans are what measures of the eye can be, where more is known than their unit says. A test plays
// drills and holds every measure against its span.
var measureSpans = map[string]span{
	"pedal":                  {low: 0, high: 3, whole: true},
	"power":                  fraction,
	"ovd_fill":               fraction,
	"strand":                 fraction,
	"wound_strand":           fraction,
	"traction_hazard":        fraction,
	"rent_hazard":            fraction,
	"occlusion":              fraction,
	"nearness":               fraction,
	"dialysis_hours":         between(0, 12),
	"new_dialysis_hours":     between(0, 12),
	"gap_span_hours":         between(0, 12),
	"weak_hour":              between(0, 12),
	"fragments_left":         {low: 0, high: 12, whole: true},
	"cortex_sectors_left":    {low: 0, high: 12, whole: true},
	"hooks":                  {low: 0, high: 6, whole: true},
	"wobble":                 between(0, 99),
	"endothelial_loss_pct":   between(0, 100),
	"chamber_depth_mm":       between(0, 8),
	"lowest_depth_mm":        between(0, 8),
	"time_s":                 unsigned,
	"vitreous_in_chamber_ul": unsigned,
	"bottle_cm":              setting("bottle"),
	"flow_ml_min":            setting("flow"),
	"vacuum_limit_mmhg":      setting("vacuum"),
}

// setting gives what the machine takes.
func setting(name string) span {
	v, _ := eye.LookupVerb("machine")
	for _, a := range v.Args {
		if a.Name == name {
			return between(a.Min, a.Max)
		}
	}
	return anything
}

// measureSpan gives what a measure can be: what is known of it, or yes or no, or anything from 0 for volumes,
// lengths and seconds that count up, or anything at all.
func measureSpan(name string) span {
	if s, ok := measureSpans[name]; ok {
		return s
	}
	i, ok := eye.MeasureIndex(name)
	if !ok {
		return anything
	}
	switch info := eye.MeasureTable()[i]; {
	case info.Bool:
		return yesOrNo
	case info.Unit == "s" || info.Unit == "mm2" || strings.HasPrefix(name, "vitreous_") && info.Unit == "uL":
		return unsigned
	}
	return anything
}

// givenSpan gives what a circumstance can be in a variant.
func givenSpan(v *script.Variant, name string) span {
	for _, val := range v.Values {
		switch {
		case val.Name != name:
		case val.From != nil:
			return between(val.From.Number, val.To.Number)
		default:
			var xs []float64
			for _, a := range val.OneOf {
				xs = append(xs, a.Number)
			}
			return oneOf(xs)
		}
	}
	return anything
}

// quoted gives the name inside a call such as did('hold').
func quoted(call, function string) (string, bool) {
	rest, ok := strings.CutPrefix(call, function+"('")
	return strings.TrimSuffix(rest, "')"), ok
}
