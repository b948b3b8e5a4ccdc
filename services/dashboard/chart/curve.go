package chart

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
)

// Point is one assessed drill of a series.
type Point struct {
	Number int     // from 1, along x
	Level  float64 // 1 to 5, along y
	Shape  Shape
	Key    string // names the point's group in the SVG
	Words  string // the point in words
}

// Band is the fitted level at a drill with its limits.
type Band struct{ Number, Level, Low, High float64 }

// Curve is a learning curve: a trainee's levels in one competency, the fitted curve when there is one, and the
// standard.
type Curve struct {
	Title, Desc string
	Points      []Point
	Band        []Band // in the order of its numbers; none when nothing is fitted
	Standard    float64
}

// SVG draws the curve. It refuses numbers that are not finite.
func (c Curve) SVG(s Size) ([]byte, error) {
	f, err := newFrame(c.Title, c.Desc, "Level, 1 to 5", "Drill that showed this competency")
	if err != nil {
		return nil, err
	}
	last := 10.0
	var marks points
	for _, p := range c.Points {
		if !finite(p.Level) {
			return nil, errNotFinite
		}
		last = max(last, float64(p.Number))
		marks.all = append(marks.all, point{float64(p.Number), p.Level, p.Shape, p.Key, p.Words})
	}
	marks.radius = radiusFor(len(c.Points))
	var r ribbon
	for _, b := range c.Band {
		if !finite(b.Number, b.Level, b.Low, b.High) {
			return nil, errNotFinite
		}
		last = max(last, b.Number)
		r.x, r.low, r.mid, r.high = append(r.x, b.Number), append(r.low, b.Low), append(r.mid, b.Level), append(r.high, b.High)
	}
	f.X.Min, f.X.Max, f.Y.Min, f.Y.Max = 1, last, 1, 5
	f.X.Tick.Marker = drillTicks(last, s)
	f.Y.Tick.Marker = plot.ConstantTicks{{Value: 1, Label: "1"}, {Value: 2, Label: "2"}, {Value: 3, Label: "3"}, {Value: 4, Label: "4"}, {Value: 5, Label: "5"}}
	if len(r.x) > 1 {
		f.Add(r)
	}
	if c.Standard > 0 {
		f.Add(level{c.Standard, fmt.Sprintf("standard: level %g", c.Standard), false, f.style})
	}
	f.Add(marks)
	return f.svg(s), nil
}

// drillTicks labels drill numbers: 1, then round ones.
func drillTicks(last float64, s Size) plot.ConstantTicks {
	most := 10
	if s.Width < 500 {
		most = 6
	}
	out := ticks(1, last, 1, most)
	if len(out) > 0 && out[0].Value > 1 {
		out = append(plot.ConstantTicks{{Value: 1, Label: "1"}}, out...)
	}
	return out
}

// radiusFor makes points smaller when there are many.
func radiusFor(n int) vg.Length {
	switch {
	case n > 120:
		return 2.5
	case n > 50:
		return 3.25
	}
	return 4.25
}
