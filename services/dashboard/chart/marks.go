package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Shape says what a point stands for without any colour.
type Shape int

// Shapes of points.
const (
	Disc    Shape = iota // filled circle: the standard was met
	Ring                 // open circle: below the standard
	Diamond              // filled diamond: a critical error capped it
)

// point is one datum as a shape.
type point struct {
	x, y       float64
	shape      Shape
	key, words string
}

// points draws shapes, each in a group of its own with a key and a title.
type points struct {
	all    []point
	radius vg.Length
}

func (ps points) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	on := sheetOf(c)
	for _, d := range ps.all {
		if on != nil {
			on.begin("datum", d.key, d.words)
		}
		drawShape(c, d.shape, vg.Point{X: fx(d.x), Y: fy(d.y)}, ps.radius)
		if on != nil {
			on.end()
		}
	}
}

func drawShape(c draw.Canvas, shape Shape, at vg.Point, r vg.Length) {
	var path vg.Path
	switch shape {
	case Diamond:
		r *= 1.45
		path.Move(vg.Point{X: at.X, Y: at.Y + r})
		path.Line(vg.Point{X: at.X + r, Y: at.Y})
		path.Line(vg.Point{X: at.X, Y: at.Y - r})
		path.Line(vg.Point{X: at.X - r, Y: at.Y})
	default:
		path.Arc(at, r, 0, 2*math.Pi)
	}
	path.Close()
	fill, line := inkData, inkData
	switch shape {
	case Ring:
		fill = inkPaper
	case Diamond:
		fill, line = inkCritical, inkCritical
	}
	c.SetColor(fill)
	c.Fill(path)
	c.SetLineStyle(draw.LineStyle{Color: line, Width: 1.75})
	c.Stroke(path)
}

// ribbon fills between a lower and an upper limit and draws the line between them.
type ribbon struct{ x, low, mid, high []float64 }

func (r ribbon) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	clampY := func(v float64) vg.Length { return fy(math.Min(math.Max(v, p.Y.Min), p.Y.Max)) }
	var area []vg.Point
	for i, x := range r.x {
		area = append(area, vg.Point{X: fx(x), Y: clampY(r.high[i])})
	}
	for i := len(r.x) - 1; i >= 0; i-- {
		area = append(area, vg.Point{X: fx(r.x[i]), Y: clampY(r.low[i])})
	}
	c.FillPolygon(inkBand, area)
	line := make([]vg.Point, len(r.x))
	for i, x := range r.x {
		line[i] = vg.Point{X: fx(x), Y: clampY(r.mid[i])}
	}
	c.StrokeLines(draw.LineStyle{Color: inkData, Width: 2}, line)
}

// level is a dashed line across the plot with its words on it, at the left or the right end.
type level struct {
	y     float64
	words string
	left  bool
	style draw.TextStyle
}

func (l level) Plot(c draw.Canvas, p *plot.Plot) {
	_, fy := p.Transforms(&c)
	y := fy(l.y)
	c.StrokeLine2(draw.LineStyle{Color: inkStandard, Width: 1.5, Dashes: []vg.Length{6, 4}}, c.Min.X, y, c.Max.X, y)
	at := vg.Point{X: c.Max.X, Y: y + 4}
	if l.left {
		at.X = c.Min.X + l.style.Width(l.words)
	}
	words(c, l.style, inkStandard, at, l.words)
}

// words sets text that ends at a point, on a patch of paper so that it can be read over lines.
func words(c draw.Canvas, s draw.TextStyle, colour ink, at vg.Point, text string) {
	wide, high := s.Width(text), s.Font.Size
	patch := inkPaper
	patch.A = 0xd0
	c.FillPolygon(patch, []vg.Point{{X: at.X - wide - 2, Y: at.Y - 2}, {X: at.X + 2, Y: at.Y - 2}, {X: at.X + 2, Y: at.Y + high}, {X: at.X - wide - 2, Y: at.Y + high}})
	s.Color = colour
	s.XAlign, s.YAlign = draw.XRight, draw.YBottom
	c.FillText(s, at, text)
}

// line joins points in order.
type line struct{ x, y []float64 }

func (l line) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	at := make([]vg.Point, len(l.x))
	for i := range l.x {
		at[i] = vg.Point{X: fx(l.x[i]), Y: fy(l.y[i])}
	}
	c.StrokeLines(draw.LineStyle{Color: inkData, Width: 2}, at)
}
