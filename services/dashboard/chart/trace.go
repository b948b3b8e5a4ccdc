package chart

import (
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Span is what was recorded of one measure over one stretch of a drill.
type Span struct {
	From, To  float64 // seconds on the drill's clock
	Low, High float64 // the lowest and highest value in the stretch
	After     float64 // the value at its end
}

// Decision is a numbered decision at its second.
type Decision struct {
	At     float64
	Number int
}

// Trace is one measure over a drill: for each stretch its range as a bar, and a line through the values at the ends.
type Trace struct {
	Title, Desc string
	Caption     string // measure and unit, above the y axis
	Spans       []Span // in time order
	Decisions   []Decision
	Floor       float64 // the y axis reaches at least from Floor
	Ceiling     float64 // to Ceiling
}

// SVG draws the trace. It refuses numbers that are not finite.
func (t Trace) SVG(s Size) ([]byte, error) {
	f, err := newFrame(t.Title, t.Desc, t.Caption, "Seconds on the drill's clock; numbers above are decisions")
	if s.Width < 500 {
		f, err = newFrame(t.Title, t.Desc, t.Caption, "Seconds; numbers above are decisions")
	}
	if err != nil {
		return nil, err
	}
	f.head = 40 // the caption, and the numbers of the decisions under it
	f.Y.Min, f.Y.Max, f.X.Min, f.X.Max = t.Floor, t.Ceiling, 0, 1
	var path line
	for i, sp := range t.Spans {
		if !finite(sp.From, sp.To, sp.Low, sp.High, sp.After) {
			return nil, errNotFinite
		}
		if i == 0 {
			f.X.Min, f.X.Max = sp.From, max(sp.To, sp.From+1)
		}
		f.X.Min, f.X.Max = min(f.X.Min, sp.From), max(f.X.Max, sp.To)
		f.Y.Min, f.Y.Max = min(f.Y.Min, sp.Low, sp.After), max(f.Y.Max, sp.High, sp.After)
		path.x, path.y = append(path.x, sp.To), append(path.y, sp.After)
	}
	for _, d := range t.Decisions {
		if !finite(d.At) {
			return nil, errNotFinite
		}
	}
	most := 10
	if s.Width < 500 {
		most = 5
	}
	f.X.Tick.Marker = ticks(f.X.Min, f.X.Max, 1, most)
	f.Y.Tick.Marker = ticks(f.Y.Min, f.Y.Max, 0.1, 5)
	f.Add(bars(t.Spans), path, decisions{t.Decisions, f.style})
	ends := points{radius: 2.5}
	for i := range path.x {
		ends.all = append(ends.all, point{x: path.x[i], y: path.y[i], words: "after " + strconv.FormatFloat(path.x[i], 'f', 1, 64) + " s"})
	}
	f.Add(ends)
	return f.svg(s), nil
}

// bars draws each stretch's range; one without width still shows as a thin line.
type bars []Span

func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	for _, s := range b {
		left, right := fx(s.From), fx(s.To)
		if right-left < 2 {
			left, right = left-1, left+1
		}
		low, high := fy(s.Low), fy(s.High)
		c.FillPolygon(inkBand, []vg.Point{{X: left, Y: low}, {X: left, Y: high}, {X: right, Y: high}, {X: right, Y: low}})
	}
}

// decisions draws a hairline and a number at each decision, leaving out numbers that would overlap.
type decisions struct {
	all   []Decision
	style draw.TextStyle
}

func (d decisions) Plot(c draw.Canvas, p *plot.Plot) {
	fx, _ := p.Transforms(&c)
	s := d.style
	s.Color = inkText
	s.XAlign, s.YAlign = draw.XCenter, draw.YBottom
	free := c.Min.X - 20
	for _, one := range d.all {
		x := fx(one.At)
		c.StrokeLine2(draw.LineStyle{Color: inkText, Width: 0.75, Dashes: []vg.Length{2, 3}}, x, c.Min.Y, x, c.Max.Y)
		words := strconv.Itoa(one.Number)
		if half := s.Width(words) / 2; x-half > free {
			c.FillText(s, vg.Point{X: x, Y: c.Max.Y + 2}, words)
			free = x + half + 3
		}
	}
}
