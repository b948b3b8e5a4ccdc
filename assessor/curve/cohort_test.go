package curve

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// company makes trainees whose plateau, start and ln rate vary.
func company(random *rand.Rand, trainees int, drills func() int) ([]Trainee, [][3]float64) {
	var out []Trainee
	var truth [][3]float64
	slope := make([]float64, 3)
	for i := range trainees {
		par := [3]float64{85 + 4*random.NormFloat64(), 40 + 6*random.NormFloat64(), math.Log(.1) + .3*random.NormFloat64()}
		tr := Trainee{Name: fmt.Sprint("T", i+1)}
		for x := range drills() {
			tr.Points = append(tr.Points, Point{float64(x), approachLog.value(par[:], float64(x), slope) + 4*random.NormFloat64()})
		}
		out, truth = append(out, tr), append(truth, par)
	}
	return out, truth
}

func TestCohortRecovers(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	trainees, truth := company(random, 60, func() int { return 5 + random.IntN(40) })
	for _, correlated := range []bool{false, true} {
		c, err := FitCohort(trainees, correlated)
		if err != nil {
			t.Fatal(err)
		}
		for name, v := range map[string][3]float64{
			"plateau": {c.Plateau, 85, c.PlateauError}, "start": {c.Start, 40, c.StartError}, "ln rate": {c.LogRate, math.Log(.1), c.LogRateError},
		} {
			if math.Abs(v[0]-v[1]) > 4*v[2] {
				t.Errorf("%s %.4g, truth %.4g, error %.2g", name, v[0], v[1], v[2])
			}
		}
		for i, want := range []float64{4, 6, .3} {
			near(t, "between", c.Between[i], want, .4)
		}
		near(t, "scatter", c.Sigma, 4, .05)
		// Over all trainees the stated errors of the plateau are about right.
		sum := 0.0
		for i, tr := range trainees {
			p, err := c.Place(tr.Points)
			if err != nil {
				t.Fatal(err)
			}
			z := (p.Plateau - truth[i][0]) / p.Errors[0]
			sum += z * z / float64(len(trainees))
		}
		if sum < .5 || sum > 1.7 {
			t.Errorf("mean squared error of the plateaus is %.2f of what is stated", sum)
		}
		if !strings.Contains(c.String(), "from ") || c.Trainees != 60 {
			t.Errorf("reads %q", c)
		}
	}
}

// With few drills a trainee is read mostly from the cohort, and the answer says so; with more the
// trainee's own drills take over and the interval narrows.
func TestPlaceShrinks(t *testing.T) {
	random := rand.New(rand.NewPCG(33, 34))
	trainees, _ := company(random, 50, func() int { return 30 })
	c, err := FitCohort(trainees, false)
	if err != nil {
		t.Fatal(err)
	}
	slope := make([]float64, 3)
	var mine []Point
	for x := range 60 { // a trainee of a low plateau
		mine = append(mine, Point{float64(x), approachLog.value([]float64{74, 40, math.Log(.1)}, float64(x), slope)})
	}
	before, width := c.Plateau, math.Inf(1)
	for _, n := range []int{0, 1, 2, 3, 5, 10, 20, 60} {
		p, err := c.Place(mine[:n])
		if err != nil {
			t.Fatal(err)
		}
		if p.Plateau > before+.5 || p.Errors[0] > width+1e-9 {
			t.Errorf("after %d drills the plateau is %.2f +- %.2f, before %.2f +- %.2f", n, p.Plateau, p.Errors[0], before, width)
		}
		before, width = p.Plateau, p.Errors[0]
		f, err := p.Needed(70, .95)
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case n == 0 && (p.Own[0] > 1e-6 || !strings.Contains(p.String(), "no drills yet: this is the cohort's curve") || f.Own > 1e-6):
			t.Errorf("no drills: %q, %q", p, f)
		case n > 0 && n <= 5 && (p.Own[0] > .5 || !strings.Contains(p.String(), "the rest is the cohort's") || !strings.Contains(f.String(), "the rest is the cohort's")):
			t.Errorf("%d drills: %q, %q", n, p, f)
		case n == 60 && (p.Own[0] < .8 || math.Abs(p.Plateau-74) > 2):
			t.Errorf("60 drills: %q", p)
		}
		if band := p.At(.95, 10)[0]; !(band.Low < band.Y && band.Y < band.High) || p.Drill(.95, 10)[0].High <= band.High {
			t.Errorf("after %d drills the band is %+v", n, band)
		}
		t.Logf("%d drills: %v; %v", n, p, f)
	}
	p, _ := c.Place(mine[:3])
	if !math.IsNaN(p.At(2, 1)[0].Low) {
		t.Error("level 2 gave a band")
	}
	for _, bad := range [][]Point{{{-1, 3}}, {{1, math.NaN()}}, {{math.Inf(1), 3}}} {
		if p, err := c.Place(bad); err == nil {
			t.Errorf("%v: %v", bad, p)
		}
	}
	if _, err := p.Needed(math.NaN(), .9); err == nil {
		t.Error("a standard that is none")
	}
	if _, err := p.Needed(80, 0); err == nil {
		t.Error("level 0")
	}
}

func TestCohortSaysNotYet(t *testing.T) {
	random := rand.New(rand.NewPCG(35, 36))
	good, _ := company(random, 8, func() int { return 12 })
	edit := func(f func(p *Point)) []Trainee {
		var out []Trainee
		for _, tr := range good {
			ps := append([]Point(nil), tr.Points...)
			for i := range ps {
				f(&ps[i])
			}
			out = append(out, Trainee{tr.Name, ps})
		}
		return out
	}
	short := edit(func(*Point) {})
	for i := range short {
		short[i].Points = short[i].Points[:2]
	}
	for name, c := range map[string]struct {
		trainees []Trainee
		notYet   bool
	}{
		"nobody":     {nil, true},
		"one":        {good[:1], true},
		"four":       {good[:4], true},
		"no drills":  {make([]Trainee, 9), true},
		"two each":   {short, true},
		"constant":   {edit(func(p *Point) { p.Y = 3 }), true},
		"level":      {edit(func(p *Point) { p.Y = 60 + 5*random.NormFloat64() }), true},
		"line":       {edit(func(p *Point) { p.Y = 3 * p.X }), true},
		"NaN":        {edit(func(p *Point) { p.Y = math.NaN() }), false},
		"negative x": {edit(func(p *Point) { p.X -= 5 }), false},
	} {
		got, err := FitCohort(c.trainees, false)
		var not *NotYet
		if name == "level" && err == nil {
			continue // by chance a curve may be seen in level scores
		}
		if got != nil || err == nil || errors.As(err, &not) != c.notYet {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
}

func TestCohortOnTheReference(t *testing.T) {
	// Generated with plateau 85, gap 45, rate 0.12; nlme, in another parametrisation, gives 84.09,
	// 41.84 and 0.1237 (testdata/statistics/nlmm.json). The same data, ours: within a standard error.
	c, err := FitCohort(readCohort(t, "nl_learning_curve.csv"), false)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Plateau-84.09) > c.PlateauError || math.Abs(c.Start-(84.09-41.84)) > c.StartError || math.Abs(c.LogRate-math.Log(.1237)) > c.LogRateError {
		t.Errorf("%v", c)
	}
}

// A whole programme, ten thousand trainees of two hundred drills; takes a minute or two of one core.
func TestCohortOfAProgramme(t *testing.T) {
	if os.Getenv("ZONULE_LONG") == "" {
		t.Skip("long; set ZONULE_LONG=1")
	}
	trainees, _ := company(rand.New(rand.NewPCG(41, 42)), 10_000, func() int { return 200 })
	c, err := FitCohort(trainees, true)
	if err != nil {
		t.Fatal(err)
	}
	t.Log(c)
	if math.Abs(c.Plateau-85) > 6*c.PlateauError || math.Abs(c.Start-40) > 6*c.StartError || math.Abs(c.LogRate-math.Log(.1)) > 6*c.LogRateError {
		t.Errorf("%v", c)
	}
	near(t, "scatter", c.Sigma, 4, .01)
}

func FuzzCohort(f *testing.F) {
	f.Add([]byte{10, 20, 30, 35, 38, 40, 12, 22, 31, 35, 39, 41, 9, 20, 29, 34, 38, 39, 11, 20, 30, 34, 38, 40, 9, 21, 29, 33, 38, 41}, 25.)
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 255}, math.NaN())
	f.Fuzz(func(t *testing.T, data []byte, standard float64) {
		if len(data) > 60 {
			data = data[:60]
		}
		var trainees []Trainee
		for i, b := range data {
			if i%6 == 0 {
				trainees = append(trainees, Trainee{Name: fmt.Sprint(i)})
			}
			tr := &trainees[len(trainees)-1]
			tr.Points = append(tr.Points, Point{float64(i % 6), float64(b)})
		}
		c, err := FitCohort(trainees, false)
		if err != nil {
			return
		}
		p, err := c.Place(trainees[0].Points[:2])
		if err != nil {
			return
		}
		for _, v := range []float64{c.Plateau, c.PlateauError, c.LogRateError, c.Sigma, p.Plateau, p.Errors[0], p.Errors[2], p.Own[1]} {
			if !finite(v) {
				t.Errorf("%v, %v", c, p)
			}
		}
		if n, err := p.Needed(standard, .9); err == nil && (n.Reached != (n.At > 0) || n.HighKnown != (n.High > 0)) {
			t.Errorf("%+v", n)
		}
	})
}

// The cohort of the design: 200 trainees by 60 drills, all three parameters differing.
func BenchmarkFitCohort200x60(b *testing.B) {
	trainees, _ := company(rand.New(rand.NewPCG(37, 38)), 200, func() int { return 60 })
	for b.Loop() {
		if _, err := FitCohort(trainees, true); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlace(b *testing.B) {
	trainees, _ := company(rand.New(rand.NewPCG(39, 40)), 50, func() int { return 30 })
	c, err := FitCohort(trainees, false)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		p, err := c.Place(trainees[3].Points[:4])
		if err != nil {
			b.Fatal(err)
		}
		if _, err := p.Needed(80, .95); err != nil {
			b.Fatal(err)
		}
	}
}
