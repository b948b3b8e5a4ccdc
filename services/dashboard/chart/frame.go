package chart

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"sync"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Size is a chart's width and height in CSS pixels.
type Size struct {
	Width, Height float64
	Class         string // class of the svg element, to show the one that fits
}

// Wide and Narrow are the two sizes a page carries, so that text keeps its size on a telephone.
var (
	Wide   = Size{640, 300, "chart-wide"}
	Narrow = Size{330, 270, "chart-narrow"}
)

const textSize = 12

var errNotFinite = errors.New("a chart was given a number that is not finite; it was not drawn")

// faces holds the one face charts are set in, measured by gonum and served by the page.
var faces = sync.OnceValues(func() (*font.Cache, error) {
	face, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("the chart's face cannot be read: %w", err)
	}
	return font.NewCache(font.Collection{{Font: font.Font{Typeface: "Go", Weight: xfont.WeightNormal}, Face: face}}), nil
})

// frame is a plot with the house's axes and the words above it.
type frame struct {
	*plot.Plot
	caption, title, desc string
	style                text.Style
	head                 vg.Length // kept free above the plot
}

// newFrame makes a plot with muted axes and a horizontal grid only. caption stands above the y axis, instead of
// words turned on their side.
func newFrame(title, desc, caption, below string) (*frame, error) {
	cache, err := faces()
	if err != nil {
		return nil, err
	}
	hand := text.Plain{Fonts: cache}
	p := plot.New()
	p.BackgroundColor = nil
	p.TextHandler = hand
	f := &frame{Plot: p, head: 26, caption: caption, title: title, desc: desc}
	f.style = text.Style{Color: inkText, Font: font.Font{Typeface: "Go", Size: textSize}, Handler: hand}
	p.Title.TextStyle = f.style
	p.Legend.TextStyle.Handler, p.Legend.TextStyle.Font = hand, f.style.Font
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		label, tick := a.Label.TextStyle, a.Tick.Label
		a.Label.TextStyle, a.Tick.Label = f.style, f.style
		a.Label.TextStyle.XAlign, a.Label.TextStyle.YAlign = label.XAlign, label.YAlign
		a.Tick.Label.XAlign, a.Tick.Label.YAlign = tick.XAlign, tick.YAlign
		a.LineStyle.Color, a.LineStyle.Width = inkText, 0
		a.Tick.LineStyle.Width, a.Tick.Length = 0, 0
		a.Padding = 8
	}
	p.X.LineStyle.Width = 1
	p.X.LineStyle.Color = inkGrid
	p.X.Label.Text, p.X.Label.Padding = below, 4
	grid := plotter.NewGrid()
	grid.Vertical.Color = nil
	grid.Horizontal = draw.LineStyle{Color: inkGrid, Width: 1}
	p.Add(grid)
	return f, nil
}

// svg draws the frame at a size.
func (f *frame) svg(s Size) []byte {
	paper := newSheet(s)
	all := draw.NewCanvas(paper, vg.Length(s.Width), vg.Length(s.Height))
	head := f.style
	head.YAlign = draw.YTop
	all.FillText(head, vg.Point{X: all.Min.X + 2, Y: all.Max.Y - 2}, f.caption)
	f.Draw(draw.Crop(all, 2, -6, 4, -f.head))
	var out bytes.Buffer
	fmt.Fprintf(&out, `<svg xmlns="http://www.w3.org/2000/svg" class="chart %s" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-label="%s">`+"\n",
		s.Class, number(s.Width), number(s.Height), number(s.Width), number(s.Height), html.EscapeString(f.title+". "+f.desc))
	fmt.Fprintf(&out, "<desc>%s</desc>\n", html.EscapeString(f.desc))
	out.Write(paper.body.Bytes())
	out.WriteString("</svg>")
	return out.Bytes()
}

// sheetOf finds the sheet under a canvas that gonum has wrapped, or nil when it draws on something else.
func sheetOf(c vg.Canvas) *sheet {
	for {
		switch v := c.(type) {
		case *sheet:
			return v
		case draw.Canvas:
			c = v.Canvas
		default:
			return nil
		}
	}
}

// finite says whether all numbers can be drawn.
func finite(numbers ...float64) bool {
	for _, v := range numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// ticks places at most about `most` labels between low and high at steps of 1, 2 or 5 times a power of ten, and
// never at steps below least.
func ticks(low, high, least float64, most int) plot.ConstantTicks {
	step := math.Pow(10, math.Floor(math.Log10(math.Max((high-low)/float64(most), 1e-9))))
	for _, by := range []float64{1, 2, 5, 10} {
		if (high-low)/(step*by) <= float64(most) {
			step *= by
			break
		}
	}
	step = math.Max(step, least)
	digits := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var out plot.ConstantTicks
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9; i++ {
		out = append(out, plot.Tick{Value: i * step, Label: minus(strconv.FormatFloat(i*step, 'f', digits, 64))})
	}
	return out
}

// minus sets a true minus sign and no minus zero.
func minus(s string) string {
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	if s[0] == '-' {
		return "−" + s[1:]
	}
	return s
}
