package dashboard

import (
	"fmt"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/dashboard/chart"
	"zonule/services/dashboard/measure"
)

// traceView is one measure over the drill, drawn and as a table.
type traceView struct {
	Title, Heading string
	ID             string
	Picture        picture
	Rows           []traceRow
}

// traceRow is one stretch of the drill.
type traceRow struct{ What, From, To, Lowest, Highest, After string }

// traced are the measures drawn in a debrief, with the least range of their axes.
var traced = []struct {
	name, title    string
	floor, ceiling float64
}{
	{"chamber_depth_mm", "Depth of the chamber", 0, 4},
	{"iop_mmhg", "Pressure in the chamber", 0, 60},
}

// tracesOf draws what was recorded. A measure of which nothing was recorded is left out.
func tracesOf(t *drillv1.Timeline) ([]traceView, error) {
	var out []traceView
	for _, one := range traced {
		v, err := traceOf(t, one.name, one.title, one.floor, one.ceiling)
		if err != nil {
			return nil, err
		}
		if len(v.Rows) > 0 {
			out = append(out, v)
		}
	}
	return out, nil
}

func traceOf(t *drillv1.Timeline, name, title string, floor, ceiling float64) (traceView, error) {
	m := measure.Named(name)
	picture := chart.Trace{Caption: m.Heading(), Floor: floor, Ceiling: ceiling}
	out := traceView{Title: title, Heading: m.Heading(), ID: "trace-" + name}
	add := func(what string, segment *drillv1.Segment) {
		s := stretchOf(t.GetMeasures(), segment)
		after, ok := s.after[name]
		if !ok {
			return
		}
		low, high := after, after
		if v, ok := s.low[name]; ok {
			low = v
		}
		if v, ok := s.high[name]; ok {
			high = v
		}
		picture.Spans = append(picture.Spans, chart.Span{From: s.from, To: s.to, Low: low, High: high, After: after})
		out.Rows = append(out.Rows, traceRow{what, numeral(s.from, 1), numeral(s.to, 1), m.Say(low), m.Say(high), m.Say(after)})
	}
	add("Opening", t.GetOpening())
	for _, s := range t.GetSteps() {
		if s.GetUndone() {
			continue // the eye went back to where it was
		}
		add(fmt.Sprintf("Thinking before decision %d", s.GetIndex()+1), s.GetThinking())
		add(fmt.Sprintf("Decision %d", s.GetIndex()+1), s.GetDoing())
		picture.Decisions = append(picture.Decisions, chart.Decision{At: decidedAt(s), Number: int(s.GetIndex()) + 1})
	}
	if len(out.Rows) == 0 {
		return out, nil
	}
	low, high := rangeOf(picture.Spans)
	picture.Title = title + " over the drill"
	picture.Desc = fmt.Sprintf("Between %s and %s %s over %s recorded. The table beside it holds the same numbers.",
		m.Say(low), m.Say(high), m.Unit, count(uint32(len(out.Rows)), "stretch", "stretches"))
	var err error
	out.Picture, err = draw(picture)
	return out, err
}

func rangeOf(spans []chart.Span) (low, high float64) {
	var all []float64
	for _, s := range spans {
		all = append(all, s.Low, s.High, s.After)
	}
	return extent(all)
}
