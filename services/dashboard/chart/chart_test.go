package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/font"
)

var update = flag.Bool("update", false, "write the golden files anew")

// node is an SVG element as a reader of XML sees it.
type node struct {
	XMLName xml.Name
	Attrs   []xml.Attr `xml:",any,attr"`
	Text    string     `xml:",chardata"`
	Nodes   []node     `xml:",any"`
}

func (n node) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (n node) all(name string) []node {
	var out []node
	for _, c := range n.Nodes {
		if c.XMLName.Local == name {
			out = append(out, c)
		}
		out = append(out, c.all(name)...)
	}
	return out
}

type drawer interface{ SVG(Size) ([]byte, error) }

func drawn(t *testing.T, d drawer, s Size) node {
	t.Helper()
	out, err := d.SVG(s)
	if err != nil {
		t.Fatal(err)
	}
	var root node
	if err := xml.Unmarshal(out, &root); err != nil {
		t.Fatalf("not well-formed: %v", err)
	}
	return root
}

func exampleCurve(n int) Curve {
	c := Curve{Title: "Learning curve", Desc: "Invented levels", Standard: 3}
	for i := 1; i <= n; i++ {
		level := 4.2 - 2.4*math.Exp(-0.2*float64(i-1))
		c.Band = append(c.Band, Band{float64(i), level, level - 0.4, level + 0.4})
		p := Point{Number: i, Level: math.Round(level), Key: "point:" + strconv.Itoa(i), Words: fmt.Sprintf("Drill %d", i)}
		switch {
		case i == 4:
			p.Level, p.Shape = 2, Diamond
		case p.Level < 3:
			p.Shape = Ring
		}
		c.Points = append(c.Points, p)
	}
	return c
}

func exampleCusum() Cusum {
	return Cusum{Title: "CUSUM", Desc: "Invented", Scores: []float64{0.18, 0, 0.18, 0.36, 0.55, 0.73, 0.91, 1.09, 1.28, 1.46}, Limit: 1.25, Signal: 9, Shapes: []Shape{Disc, Ring, Disc}, Keys: []string{"score:1"}}
}

func exampleTrace() Trace {
	return Trace{Title: "Depth", Desc: "Invented", Caption: "Depth of the chamber, mm", Ceiling: 4, Spans: []Span{{-4, 0, 3, 3.2, 3.1}, {0, 6, 2.9, 3.1, 2.9}, {6, 9, 1.6, 2.9, 2.2}, {9, 9, 2.2, 2.2, 2.2}}, Decisions: []Decision{{6, 1}, {6.1, 2}, {9, 3}}}
}

// The golden files are what the charts looked like when a person last looked at them: run with -update and look again.
func TestGolden(t *testing.T) {
	for name, d := range map[string]drawer{"curve": exampleCurve(12), "cusum": exampleCusum(), "trace": exampleTrace()} {
		for _, s := range []Size{Wide, Narrow} {
			got, err := d.SVG(s)
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", name+"-"+s.Class+".svg")
			if *update {
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s differs from %s; look at it, then run the test with -update", name, path)
			}
			again, err := d.SVG(s)
			if err != nil || !bytes.Equal(got, again) {
				t.Errorf("%s comes out differently the second time (%v)", name, err)
			}
		}
	}
}

func TestSVGIsLabelledAndObeysAStrictPolicy(t *testing.T) {
	const evil = `"><script>alert(1)</script>&'`
	c := exampleCurve(8)
	c.Title, c.Desc, c.Points[2].Words, c.Points[2].Key = evil, evil, evil, evil
	for _, d := range []drawer{c, exampleCusum(), exampleTrace()} {
		root := drawn(t, d, Wide)
		if root.attr("role") != "img" || root.attr("aria-label") == "" || len(root.all("desc")) != 1 {
			t.Errorf("role %q, label %q", root.attr("role"), root.attr("aria-label"))
		}
		for _, bad := range []string{"script", "style", "image", "foreignObject", "a"} {
			if n := len(root.all(bad)); n > 0 {
				t.Errorf("%d <%s>", n, bad)
			}
		}
		for _, n := range append(root.all("path"), root.all("text")...) {
			if n.attr("style") != "" {
				t.Errorf("<%s> has a style attribute", n.XMLName.Local)
			}
		}
	}
	if got := drawn(t, c, Wide).attr("aria-label"); !strings.HasPrefix(got, evil+". ") {
		t.Errorf("the label became %q", got)
	}
}

// centre gives the middle of a datum's shape from the coordinates of its first path.
func centre(t *testing.T, g node) (x, y float64) {
	t.Helper()
	d := g.all("path")[0].attr("d")
	var xs, ys []float64
	for _, part := range strings.FieldsFunc(d, func(r rune) bool { return strings.ContainsRune("MLAZ", r) }) {
		f := strings.Fields(part)
		if len(f) < 2 {
			continue
		}
		x, errX := strconv.ParseFloat(f[len(f)-2], 64)
		y, errY := strconv.ParseFloat(f[len(f)-1], 64)
		if errX != nil || errY != nil {
			t.Fatalf("path %q", d)
		}
		xs, ys = append(xs, x), append(ys, y)
	}
	minmax := func(v []float64) float64 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, one := range v {
			low, high = min(low, one), max(high, one)
		}
		return (low + high) / 2
	}
	return minmax(xs), minmax(ys)
}

// A point's place must be linear in its numbers, inside the drawing, and higher for a higher level.
func TestPointsStandWhereTheirNumbersSay(t *testing.T) {
	for _, s := range []Size{Wide, Narrow} {
		c := exampleCurve(30)
		groups := drawn(t, c, s).all("g")
		if len(groups) != 30 {
			t.Fatalf("%d points", len(groups))
		}
		x1, y1 := centre(t, groups[0])
		x30, _ := centre(t, groups[29])
		perDrill := (x30 - x1) / 29
		var perLevel float64
		for i, g := range groups {
			x, y := centre(t, g)
			if g.attr("data-key") != c.Points[i].Key || g.all("title")[0].Text != c.Points[i].Words {
				t.Errorf("point %d is keyed %q", i+1, g.attr("data-key"))
			}
			if math.Abs(x-(x1+perDrill*float64(i))) > 0.02 {
				t.Errorf("point %d stands at x %.2f, want %.2f", i+1, x, x1+perDrill*float64(i))
			}
			if x < 0 || x > s.Width || y < 0 || y > s.Height {
				t.Errorf("point %d stands outside", i+1)
			}
			if rise := c.Points[i].Level - c.Points[0].Level; rise != 0 {
				step := (y1 - y) / rise
				if perLevel == 0 {
					perLevel = step
				}
				if step < 20 || math.Abs(step-perLevel) > 0.05 {
					t.Errorf("point %d: %.2f per level, want %.2f", i+1, step, perLevel)
				}
			}
		}
	}
}

func TestShapesDiffer(t *testing.T) {
	groups := drawn(t, exampleCurve(12), Wide).all("g")
	kinds := map[string]bool{}
	for _, g := range groups {
		fill := g.all("path")[0]
		kinds[fill.attr("fill")+fmt.Sprint(strings.Contains(fill.attr("d"), "A"))] = true
	}
	if len(kinds) != 3 {
		t.Errorf("%d kinds of points are told apart, want 3: %v", len(kinds), kinds)
	}
}

// All text must lie inside the drawing at both sizes: it is set, as measured, from its left end.
func TestTextFitsTheDrawing(t *testing.T) {
	cache, err := faces()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range []drawer{exampleCurve(240), exampleCusum(), exampleTrace()} {
		for _, s := range []Size{Wide, Narrow} {
			for _, n := range drawn(t, d, s).all("text") {
				x, _ := strconv.ParseFloat(n.attr("x"), 64)
				y, _ := strconv.ParseFloat(n.attr("y"), 64)
				size, _ := strconv.ParseFloat(n.attr("font-size"), 64)
				face := cache.Lookup(font.Font{Typeface: "Go"}, textSize)
				wide := float64(face.Width(n.Text))
				if size != textSize || x < 0 || x+wide > s.Width || y < size*0.7 || y > s.Height {
					t.Errorf("%T at %s: %q at %.1f, %.1f is %.1f wide", d, s.Class, n.Text, x, y, wide)
				}
			}
		}
	}
}

func TestNumbersThatAreNotFiniteAreRefused(t *testing.T) {
	curve, cusum, trace := exampleCurve(8), exampleCusum(), exampleTrace()
	curve.Band[3].High = math.NaN()
	cusum.Scores[2] = math.Inf(1)
	trace.Spans[1].Low = math.NaN()
	late := exampleTrace()
	late.Decisions[0].At = math.Inf(-1)
	level := exampleCurve(3)
	level.Points[0].Level = math.NaN()
	for _, d := range []drawer{curve, cusum, trace, late, level} {
		if out, err := d.SVG(Wide); !errors.Is(err, errNotFinite) || out != nil {
			t.Errorf("%T gave %d bytes and %v", d, len(out), err)
		}
	}
}

func TestChartsOverNothingAndVeryMuchAreDrawn(t *testing.T) {
	for _, d := range []drawer{Curve{}, exampleCurve(1), exampleCurve(2000), Cusum{Limit: 1}, Cusum{Limit: 1, Scores: []float64{300}}, Trace{}, Trace{Spans: []Span{{0, 0, 0, 0, 0}}}, Trace{Spans: []Span{{-1000, 1e6, -50, 1e5, 3}}}} {
		for _, s := range []Size{Wide, Narrow} {
			if out, err := d.SVG(s); err != nil || bytes.Contains(out, []byte("NaN")) || bytes.Contains(out, []byte("Inf")) {
				t.Errorf("%T: %v", d, err)
			}
		}
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		low, high, least float64
		most             int
		want             string
	}{
		{0, 4, 0.1, 5, "0 1 2 3 4"}, {0, 1.5625, 0.01, 5, "0.0 0.5 1.0 1.5"}, {1, 24, 1, 10, "5 10 15 20"}, {1, 10, 1, 10, "1 2 3 4 5 6 7 8 9 10"}, {-6, 71, 1, 10, "0 10 20 30 40 50 60 70"}, {-1, 1, 0.1, 5, "−1.0 −0.5 0.0 0.5 1.0"}, {0, 0, 1, 5, "0"},
	} {
		var got []string
		for _, k := range ticks(c.low, c.high, c.least, c.most) {
			got = append(got, k.Label)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%v to %v: %q, want %q", c.low, c.high, strings.Join(got, " "), c.want)
		}
	}
}

func BenchmarkCurve240(b *testing.B) {
	c := exampleCurve(240)
	b.ReportAllocs()
	for b.Loop() {
		out, err := c.SVG(Wide)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(out)), "svg_bytes")
	}
}
