package dashboard

import drillv1 "zonule/proto/gen/zonule/drill/v1"

// stretch is a recorded segment with its measures by name. A measure that is missing from low was never lower than
// afterwards, and the same for high.
type stretch struct {
	from, to         float64
	low, high, after map[string]float64
	marks            []*drillv1.Mark
}

// stretchOf reads a segment by the timeline's list of names. Places outside the list, and values without a place, are
// left out: they then read "not recorded".
func stretchOf(names []string, s *drillv1.Segment) stretch {
	out := stretch{from: s.GetStartS(), to: s.GetEndS(), marks: s.GetMarks(), after: map[string]float64{}}
	for i, v := range s.GetAfter() {
		if i < len(names) {
			out.after[names[i]] = v
		}
	}
	out.low, out.high = extremes(names, s.GetLow()), extremes(names, s.GetHigh())
	return out
}

func extremes(names []string, e *drillv1.Extremes) map[string]float64 {
	out := map[string]float64{}
	for i, place := range e.GetMeasures() {
		if int(place) < len(names) && i < len(e.GetValues()) {
			out[names[place]] = e.GetValues()[i]
		}
	}
	return out
}

// recorded says whether anything was recorded of the stretch.
func (s stretch) recorded() bool { return len(s.after) > 0 }
