package main

import (
	"bytes"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"zonule/scenarios/eye"
)

// curve is one line of a picture. Lines differ in dashes as well as in colour.
type curve struct {
	name   string
	points plotter.XYs
	look   int
}

var looks = []draw.LineStyle{
	{Color: color.RGBA{0x1b, 0x4f, 0x8a, 0xff}, Width: vg.Points(1.8)},
	{Color: color.RGBA{0xb3, 0x4a, 0x12, 0xff}, Width: vg.Points(1.8), Dashes: []vg.Length{vg.Points(6), vg.Points(3)}},
	{Color: color.RGBA{0x3d, 0x3d, 0x3d, 0xff}, Width: vg.Points(1.5), Dashes: []vg.Length{vg.Points(2), vg.Points(2.5)}},
}

const pictureWidth, panelHeight = 6.4 * vg.Inch, 2.3 * vg.Inch

func panel(title, x, y string, curves ...curve) (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	for _, f := range []*font.Font{&p.Title.TextStyle.Font, &p.X.Label.TextStyle.Font, &p.Y.Label.TextStyle.Font, &p.X.Tick.Label.Font, &p.Y.Tick.Label.Font, &p.Legend.TextStyle.Font} {
		f.Variant, f.Size = "Sans", font.Points(10)
	}
	p.X.Tick.Marker, p.Y.Tick.Marker = plainTicks{}, plainTicks{}
	p.Title.Padding = vg.Points(6)
	grid := plotter.NewGrid()
	grid.Vertical.Width = 0
	grid.Horizontal.Color = color.Gray{0xd0}
	p.Add(grid)
	for _, c := range curves {
		line, err := plotter.NewLine(c.points)
		if err != nil {
			return nil, err
		}
		line.LineStyle = looks[c.look]
		p.Add(line)
		if c.name != "" {
			p.Legend.Add(c.name, line)
		}
	}
	p.Legend.Top, p.Legend.ThumbnailWidth, p.Legend.Padding = true, vg.Points(26), vg.Points(2)
	return p, nil
}

// picture sets panels under each other on white paper and writes them as SVG.
func picture(panels ...*plot.Plot) ([]byte, error) {
	c := vgsvg.New(pictureWidth, panelHeight*vg.Length(len(panels)))
	rows := make([][]*plot.Plot, len(panels))
	for i, p := range panels {
		rows[i] = []*plot.Plot{p}
	}
	dc := draw.New(c)
	dc.SetColor(color.White)
	dc.Fill(dc.Rectangle.Path())
	at := plot.Align(rows, draw.Tiles{Rows: len(panels), Cols: 1, PadY: vg.Points(6), PadTop: vg.Points(4), PadBottom: vg.Points(4), PadLeft: vg.Points(4), PadRight: vg.Points(10)}, dc)
	for i, p := range panels {
		p.Draw(at[i][0])
	}
	var b bytes.Buffer
	_, err := c.WriteTo(&b)
	return b.Bytes(), err
}

// traced plays actions with measures recorded every so many seconds from a second on.
type traced struct {
	e   *eye.Eye
	err error
}

func begin(s eye.Spec, seed uint64) *traced {
	e, err := eye.New(s, seed)
	return &traced{e, err}
}

func (t *traced) do(verb string, n map[string]float64, w map[string]string) *traced {
	if t.err == nil {
		_, t.err = t.e.Apply(eye.Action{Verb: verb, Num: n, Word: w})
	}
	return t
}

// record gives the curves of measures over time since now while f runs.
func (t *traced) record(every float64, names []string, f func()) []plotter.XYs {
	out := make([]plotter.XYs, len(names))
	if t.err != nil {
		return out
	}
	start := t.e.Time()
	t.e.Trace(every, func(at float64, m eye.Measures) {
		for i, name := range names {
			y, _ := m.Get(name)
			out[i] = append(out[i], plotter.XY{X: at - start, Y: y})
		}
	})
	f()
	t.e.Trace(0, nil)
	return out
}

type num = map[string]float64
type word = map[string]string

// drawSurge shows an occlusion that breaks: pressure and depth at two vacuum limits.
func drawSurge() ([]byte, error) {
	var pressure, depth, vacuum []curve
	for i, limit := range []float64{250, 600} {
		t := begin(eye.Spec{LensUL: 60, Fragments: []eye.Fragment{{Hour: 8, UL: 12}}, Cortex: []int{}}, 3)
		t.do("machine", num{"bottle": 90, "flow": 40, "vacuum": limit, "power": 0.5}, nil)
		t.do("enter", nil, word{"instrument": "phaco-tip"})
		t.do("pedal", num{"position": 1, "for": 2}, nil)
		lines := t.record(0.02, []string{"iop_mmhg", "chamber_depth_mm", "vacuum_mmhg"}, func() { t.do("pedal", num{"position": 3, "for": 5}, nil) })
		if t.err != nil {
			return nil, t.err
		}
		name := []string{"limit 250 mmHg", "limit 600 mmHg"}[i]
		pressure = append(pressure, curve{name, lines[0], i})
		depth = append(depth, curve{"", lines[1], i})
		vacuum = append(vacuum, curve{"", lines[2], i})
	}
	a, err := panel("A piece closes the port, is emulsified, and the occlusion breaks", "", "chamber, mmHg", pressure...)
	if err != nil {
		return nil, err
	}
	b, err := panel("", "", "depth, mm", depth...)
	if err != nil {
		return nil, err
	}
	c, err := panel("", "seconds at pedal 3 (bottle 90 cm, 40 mL/min, healthy eye)", "vacuum, mmHg", vacuum...)
	if err != nil {
		return nil, err
	}
	return picture(a, b, c)
}

// drawWithdrawal shows an instrument taken out of an eye with a gap, with and without
// viscoelastic before it.
func drawWithdrawal() ([]byte, error) {
	var depth, push, gel []curve
	for i, name := range []string{"viscoelastic first", "without"} {
		t := begin(eye.Spec{DialysisHours: 3, DialysisAt: 4, Strength: 0.8, LensUL: 100, HyaloidBreached: true, VitreousUL: 2}, 2)
		t.do("machine", num{"bottle": 80, "flow": 30, "vacuum": 300}, nil)
		t.do("enter", nil, word{"instrument": "phaco-tip"})
		t.do("pedal", num{"position": 1, "for": 2}, nil)
		let := t.e.Time() // the pedal is let up
		lines := t.record(0.05, []string{"chamber_depth_mm", "pressure_gap_mmhg", "vitreous_lost_ul"}, func() {
			t.do("pedal", num{"position": 0, "for": 0.5}, nil)
			if i == 0 {
				t.do("ovd", nil, word{"kind": "dispersive"})
			} else {
				t.do("wait", num{"for": 0.5}, nil)
			}
			t.do("withdraw", nil, nil)
			t.do("wait", num{"for": 12 - min(12, t.e.Time()-let)}, nil)
		})
		if t.err != nil {
			return nil, t.err
		}
		depth = append(depth, curve{name, lines[0], i})
		push = append(push, curve{"", lines[1], i})
		gel = append(gel, curve{"", lines[2], i})
	}
	a, err := panel("The tip leaves an eye with three clock hours of zonules missing", "", "depth, mm", depth...)
	if err != nil {
		return nil, err
	}
	b, err := panel("", "", "push from behind, mmHg", push...)
	if err != nil {
		return nil, err
	}
	c, err := panel("", "seconds since the pedal was let up", "gel forward, uL", gel...)
	if err != nil {
		return nil, err
	}
	return picture(a, b, c)
}

// drawZonules shows what each zonule carries round the clock while the rim is pulled inward
// beside a gap, with and without a ring.
func drawZonules() ([]byte, error) {
	var panels []*plot.Plot
	for i, gap := range []float64{0, 3} {
		var curves []curve
		for k, ring := range []bool{false, true} {
			t := begin(eye.Spec{LensUL: -1, DialysisHours: gap, DialysisAt: 6, Weibull: 30}, 1)
			if ring {
				t.do("ring", nil, nil)
			}
			if t.err != nil {
				return nil, t.err
			}
			line := clockLine(t.e.Zonules(6+gap/2+1.0/6, 2))
			curves = append(curves, curve{[]string{"empty bag", "with a tension ring"}[k], line, 1 - k})
		}
		title := []string{"Load of each zonule while the rim near 6 o'clock is pulled inward by 2 mN: all zonules whole", "The same pull at the edge of a gap of three clock hours (they carry nothing there)"}[i]
		p, err := panel(title, []string{"", "clock hour"}[i], "mN", curves...)
		if err != nil {
			return nil, err
		}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 12, 0, 0.4
		p.X.Tick.Marker = clockTicks{}
		panels = append(panels, p)
	}
	return picture(panels...)
}

func clockLine(zs []eye.Zonule) plotter.XYs {
	line := make(plotter.XYs, 0, len(zs)+1)
	for _, z := range zs {
		line = append(line, plotter.XY{X: math.Mod(z.Hour, 12), Y: z.Load})
	}
	return append(line, plotter.XY{X: 12, Y: zs[0].Load})
}

// plainTicks stand at round numbers, about five to an axis, all with their number.
type plainTicks struct{}

// Ticks implements plot.Ticker.
func (plainTicks) Ticks(lo, hi float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/5)))
	for _, k := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(k*step) <= 6 {
			step *= k
			break
		}
	}
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var ts []plot.Tick
	for i := math.Ceil(lo/step-1e-9) + 0; i*step <= hi+1e-9*step; i++ {
		ts = append(ts, plot.Tick{Value: i * step, Label: strconv.FormatFloat(i*step, 'f', decimals, 64)})
	}
	return ts
}

type clockTicks struct{}

// Ticks implements plot.Ticker.
func (clockTicks) Ticks(_, _ float64) []plot.Tick {
	var ts []plot.Tick
	for h := range 13 {
		t := plot.Tick{Value: float64(h)}
		if h%3 == 0 {
			t.Label = []string{"12", "3", "6", "9", "12"}[h/3]
		}
		ts = append(ts, t)
	}
	return ts
}
