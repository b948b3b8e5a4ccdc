package chart

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// sheet is a vg.Canvas that writes SVG elements. One point of gonum's is one unit of the SVG, and y is turned over
// here, so that the output needs no transforms. DrawImage is not supported and draws nothing.
type sheet struct {
	width, height float64
	body          bytes.Buffer
	now           pen
	stack         []pen
}

// pen is what Push saves and Pop brings back.
type pen struct {
	color  color.Color
	width  float64
	dash   []vg.Length
	offset vg.Length
	m      [6]float64 // x' = m0 x + m2 y + m4, y' = m1 x + m3 y + m5
}

func newSheet(s Size) *sheet {
	return &sheet{width: s.Width, height: s.Height, now: pen{color: color.Black, width: 1, m: [6]float64{1, 0, 0, -1, 0, s.Height}}}
}

func (s *sheet) Size() (x, y vg.Length)                  { return vg.Length(s.width), vg.Length(s.height) }
func (s *sheet) SetLineWidth(w vg.Length)                { s.now.width = float64(w) }
func (s *sheet) SetLineDash(d []vg.Length, by vg.Length) { s.now.dash, s.now.offset = d, by }
func (s *sheet) DrawImage(vg.Rectangle, image.Image)     {}
func (s *sheet) Push()                                   { s.stack = append(s.stack, s.now) }

func (s *sheet) SetColor(c color.Color) {
	if c == nil {
		c = color.Black
	}
	s.now.color = c
}

func (s *sheet) Pop() {
	s.now = s.stack[len(s.stack)-1]
	s.stack = s.stack[:len(s.stack)-1]
}

func (s *sheet) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	s.transform([6]float64{cos, sin, -sin, cos, 0, 0})
}

func (s *sheet) Translate(pt vg.Point) {
	s.transform([6]float64{1, 0, 0, 1, float64(pt.X), float64(pt.Y)})
}

func (s *sheet) Scale(x, y float64) { s.transform([6]float64{x, 0, 0, y, 0, 0}) }

func (s *sheet) transform(by [6]float64) {
	m := s.now.m
	s.now.m = [6]float64{
		m[0]*by[0] + m[2]*by[1], m[1]*by[0] + m[3]*by[1],
		m[0]*by[2] + m[2]*by[3], m[1]*by[2] + m[3]*by[3],
		m[0]*by[4] + m[2]*by[5] + m[4], m[1]*by[4] + m[3]*by[5] + m[5],
	}
}

func (s *sheet) at(pt vg.Point) string {
	m, x, y := s.now.m, float64(pt.X), float64(pt.Y)
	return number(m[0]*x+m[2]*y+m[4]) + " " + number(m[1]*x+m[3]*y+m[5])
}

func (s *sheet) Stroke(p vg.Path) {
	if s.now.width <= 0 || len(p) == 0 {
		return
	}
	fmt.Fprintf(&s.body, `<path d="%s" fill="none" %s stroke-width="%s"`, s.path(p), paint("stroke", s.now.color), number(s.now.width))
	if len(s.now.dash) > 0 {
		lengths := make([]string, len(s.now.dash))
		for i, d := range s.now.dash {
			lengths[i] = number(float64(d))
		}
		fmt.Fprintf(&s.body, ` stroke-dasharray="%s" stroke-dashoffset="%s"`, strings.Join(lengths, " "), number(float64(s.now.offset)))
	}
	s.body.WriteString("/>\n")
}

func (s *sheet) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	fmt.Fprintf(&s.body, `<path d="%s" %s/>`+"\n", s.path(p), paint("fill", s.now.color))
}

// FillString sets text in the page's own face at the size gonum measured it for.
func (s *sheet) FillString(f font.Face, pt vg.Point, text string) {
	if f.Font.Size == 0 {
		return
	}
	xy := s.at(pt)
	x, y, _ := strings.Cut(xy, " ")
	fmt.Fprintf(&s.body, `<text x="%s" y="%s" font-family="Go, sans-serif" font-size="%s" %s`, x, y, number(float64(f.Font.Size)), paint("fill", s.now.color))
	if turn := math.Atan2(s.now.m[1], s.now.m[0]) * 180 / math.Pi; math.Abs(turn) > 1e-6 {
		fmt.Fprintf(&s.body, ` transform="rotate(%s %s)"`, number(turn), xy)
	}
	fmt.Fprintf(&s.body, ">%s</text>\n", html.EscapeString(text))
}

// begin opens a group around what belongs to one datum, so that a page can find and mark it.
func (s *sheet) begin(class, key, words string) {
	fmt.Fprintf(&s.body, `<g class="%s" data-key="%s"><title>%s</title>`+"\n", class, html.EscapeString(key), html.EscapeString(words))
}

func (s *sheet) end() { s.body.WriteString("</g>\n") }

func (s *sheet) path(p vg.Path) string {
	parts := make([]string, 0, len(p))
	for _, c := range p {
		switch c.Type {
		case vg.MoveComp:
			parts = append(parts, "M"+s.at(c.Pos))
		case vg.LineComp:
			parts = append(parts, "L"+s.at(c.Pos))
		case vg.ArcComp:
			parts = append(parts, s.arc(c, len(parts) == 0))
		case vg.CurveComp:
			parts = append(parts, s.curve(c))
		case vg.CloseComp:
			parts = append(parts, "Z")
		}
	}
	return strings.Join(parts, "")
}

func (s *sheet) curve(c vg.PathComp) string {
	if len(c.Control) == 1 {
		return "Q" + s.at(c.Control[0]) + " " + s.at(c.Pos)
	}
	return "C" + s.at(c.Control[0]) + " " + s.at(c.Control[1]) + " " + s.at(c.Pos)
}

// arc writes an arc in steps of at most half a turn, which SVG can tell the direction of. The canvas is only ever
// turned and moved, never squeezed, so a circle stays one.
func (s *sheet) arc(c vg.PathComp, first bool) string {
	point := func(a float64) vg.Point {
		sin, cos := math.Sincos(a)
		return vg.Point{X: c.Pos.X + c.Radius*vg.Length(cos), Y: c.Pos.Y + c.Radius*vg.Length(sin)}
	}
	letter := "L"
	if first {
		letter = "M"
	}
	out := letter + s.at(point(c.Start))
	steps := int(math.Ceil(math.Abs(c.Angle)/math.Pi - 1e-9))
	sweep := "0" // y is turned over: gonum's counterclockwise is SVG's
	if c.Angle < 0 {
		sweep = "1"
	}
	r := number(float64(c.Radius) * math.Hypot(s.now.m[0], s.now.m[1]))
	for i := 1; i <= steps; i++ {
		out += "A" + r + " " + r + " 0 0 " + sweep + " " + s.at(point(c.Start+c.Angle*float64(i)/float64(steps)))
	}
	return out
}

// paint gives the attributes of a colour: the colour itself, its opacity when it has one, and its class.
func paint(what string, c color.Color) string {
	n := color.NRGBAModel.Convert(c).(color.NRGBA)
	i, named := c.(ink)
	if named {
		n = i.NRGBA
	}
	out := fmt.Sprintf(`%s="#%02x%02x%02x"`, what, n.R, n.G, n.B)
	if n.A != 0xff {
		out += fmt.Sprintf(` %s-opacity="%s"`, what, number(float64(n.A)/0xff))
	}
	if named {
		out += fmt.Sprintf(` class="%s-%s"`, what, i.class)
	}
	return out
}

// number writes a coordinate to a hundredth, without trailing zeros and never as minus zero.
func number(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		v = 0 // minus zero too
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
