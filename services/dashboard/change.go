package dashboard

import (
	"math"
	"strconv"

	"zonule/services/dashboard/measure"
)

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
	for _, m := range measure.Of(after) {
		a := after[m.Name]
		values := []float64{a}
		tell := func(from map[string]float64) string {
			v, ok := from[m.Name]
			if !ok {
				return notRecorded
			}
			values = append(values, v)
			return m.Say(v)
		}
		c := change{Measure: m.Heading(), Before: tell(before), At: tell(at), After: m.Say(a)}
		for _, r := range ranges {
			tell(r)
		}
		low, high := extent(values)
		c.Lowest, c.Most = m.Say(low), m.Say(high)
		c.Moved = high-low >= m.Least
		if c.Moved || m.Always {
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
