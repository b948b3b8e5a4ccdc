package chart

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Cusum is a learning-curve CUSUM: a score after each drill, and the limit at which it signals.
type Cusum struct {
	Title, Desc string
	Scores      []float64 // after drill 1, 2, ...; never below 0
	Shapes      []Shape   // one for each score; none draws all as discs
	Keys        []string  // one for each score, naming its group in the SVG; may be none
	Limit       float64   // above 0
	Signal      int       // drill number of the first signal; 0 when there was none
}

// SVG draws the chart. It refuses numbers that are not finite.
func (c Cusum) SVG(s Size) ([]byte, error) {
	if !finite(c.Scores...) || !finite(c.Limit) {
		return nil, errNotFinite
	}
	f, err := newFrame(c.Title, c.Desc, "Score", "Drill that showed this competency")
	if err != nil {
		return nil, err
	}
	last, top := max(10, float64(len(c.Scores))), c.Limit*1.25
	marks := points{radius: radiusFor(len(c.Scores)) - 0.5}
	path := line{x: []float64{0}, y: []float64{0}}
	for i, v := range c.Scores {
		d := point{x: float64(i + 1), y: v, words: fmt.Sprintf("After drill %d: score %.2f", i+1, v)}
		if i < len(c.Shapes) {
			d.shape = c.Shapes[i]
		}
		if i < len(c.Keys) {
			d.key = c.Keys[i]
		}
		marks.all = append(marks.all, d)
		path.x, path.y = append(path.x, d.x), append(path.y, v)
		top = max(top, v*1.1)
	}
	f.X.Min, f.X.Max, f.Y.Min, f.Y.Max = 0, last, 0, top
	f.X.Tick.Marker = drillTicks(last, s)
	f.Y.Tick.Marker = ticks(0, top, 0.01, 5)
	f.Add(path, level{c.Limit, fmt.Sprintf("limit %.2f", c.Limit), true, f.style}, marks)
	if c.Signal > 0 && c.Signal <= len(c.Scores) {
		f.Add(pennant{float64(c.Signal), c.Scores[c.Signal-1], fmt.Sprintf("signal at drill %d", c.Signal), f.style})
	}
	return f.svg(s), nil
}

// pennant points down at a datum, with words beside it.
type pennant struct {
	x, y  float64
	words string
	style draw.TextStyle
}

func (g pennant) Plot(c draw.Canvas, p *plot.Plot) {
	fx, fy := p.Transforms(&c)
	at := vg.Point{X: fx(g.x), Y: fy(g.y) + 8}
	c.FillPolygon(inkStandard, []vg.Point{at, {X: at.X - 5, Y: at.Y + 9}, {X: at.X + 5, Y: at.Y + 9}})
	end := max(at.X-8, c.Min.X+g.style.Width(g.words)) // to the left, where the score came up from below
	words(c, g.style, inkText, vg.Point{X: end, Y: at.Y + 3}, g.words)
}
