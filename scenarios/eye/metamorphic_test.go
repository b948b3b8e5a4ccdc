package eye

import (
	"math"
	"testing"

	"zonule/scenarios/eye/ode"
)

var metamorphic = map[string]func(*testing.T){
	"C-D01": sameBits, "C-D02": rotatedTogether, "C-D03": closedEyeKeeps, "C-D05": steadyMonotone,
}

// C-D02: turning gap and load by five hours turns the answer.
func rotatedTogether(t *testing.T) {
	peak := func(turn float64) float64 {
		b := defaultShape.newBag()
		b.open(3, 6+turn, 1)
		tl := &tool{onRim: true, node: b.node(7.75 + turn), spread: 1, fr: -2}
		b.rest()
		b.under(tl)
		b.pushed(3, tl)
		ratio, _, _ := b.ratios(b.ws.u, b.ws.v, b.ws.w)
		return ratio
	}
	if a, b := peak(0), peak(5); math.Abs(a-b) > 1e-12*a {
		t.Errorf("peak ratio %.17g, turned by 5 h %.17g", a, b)
	}
}

// C-D03: a closed eye with nowhere to leak keeps its volume.
func closedEyeKeeps(t *testing.T) {
	par := DefaultParams()
	par.RSealed, par.RIn = math.Inf(1), math.Inf(1)
	e, err := NewWith(Spec{}, 1, par)
	if err != nil {
		t.Fatal(err)
	}
	e.x = 40
	e.settle()
	if _, err := e.Run(60); err != nil {
		t.Fatal(err)
	}
	if math.Abs(e.x-40) > 1e-9 {
		t.Errorf("volume went from 40 to %.12g uL in 60 s", e.x)
	}
}

// C-D05: raising the bottle never lowers the steady pressure, raising the flow never
// raises it.
func steadyMonotone(t *testing.T) {
	steady := func(cm, flow float64) float64 {
		f := bench(102)
		f.irrigate(cm)
		f.draw(flow)
		f.invRa = openPort
		return f.at(f.run(ode.State{}, tick, 5000, nil))
	}
	for flow := 10.0; flow <= 50; flow += 10 {
		for cm := 40.0; cm <= 130; cm += 10 {
			p := steady(cm, flow)
			if q := steady(cm+10, flow); q < p {
				t.Errorf("bottle %g to %g cm at %g mL/min: pressure falls from %g to %g", cm, cm+10, flow, p, q)
			}
			if q := steady(cm, flow+5); q > p {
				t.Errorf("flow %g to %g mL/min at %g cm: pressure rises from %g to %g", flow, flow+5, cm, p, q)
			}
		}
	}
}

// long is a run that touches everything once.
func long(t *testing.T, e *Eye, more func(Action)) {
	t.Helper()
	for _, a := range script {
		if _, err := e.Apply(a); err != nil {
			t.Fatalf("%s: %v", a.Verb, err)
		}
		if more != nil {
			more(a)
		}
	}
}

type nums = map[string]float64
type words = map[string]string

var script = []Action{
	{"machine", nums{"bottle": 95, "flow": 38, "vacuum": 380, "power": 0.5}, words{"mode": "torsional"}},
	{"hydrodissect", nil, nil},
	{"enter", nil, words{"instrument": "phaco-tip"}},
	{"sculpt", nums{"strokes": 3}, nil},
	{"chop", nums{"hour": 4}, words{"force": "normal"}},
	{"rotate", nums{"torque": 3}, nil},
	{"place", nums{"nearness": 0.5}, nil},
	{"pedal", nums{"position": 3, "for": 6}, words{"until": "fragment-gone"}},
	{"pedal", nums{"position": 1, "for": 1}, nil},
	{"reflux", nil, nil},
	{"pedal", nums{"position": 0}, nil},
	{"ovd", nil, nil},
	{"withdraw", nil, nil},
	{"ring", nil, nil},
	{"enter", nil, words{"instrument": "cutter"}},
	{"cut", nums{"for": 5}, nil},
	{"withdraw", nil, nil},
	{"check-strands", nil, nil},
	{"enter", nil, words{"instrument": "aspiration-tip"}},
	{"strip", nums{"sector": 9}, nil},
	{"squeeze", nil, nil},
	{"withdraw", nil, nil},
	{"say", nil, words{"words": "plan"}},
	{"hooks", nil, nil},
	{"seal", nil, nil},
}

var bad = Spec{Strength: 0.5, Stiffness: 0.7, Weibull: 7, DialysisHours: 3, DialysisAt: 4, Grade: 4, HyaloidBreached: true, VitreousUL: 2, Strand: 0.2, Adhesion: 0.5}

// sameBits, C-D01: the same seed and actions give the same bits, also through a clone
// taken midway, which the original's further life does not touch.
func sameBits(t *testing.T) {
	var a, b, c *Eye
	a, b = mustNew(t, bad, 7), mustNew(t, bad, 7)
	half := 0
	long(t, a, nil)
	long(t, b, func(Action) {
		if half++; half == 9 {
			c = b.Clone()
		}
	})
	for _, act := range script[9:] {
		if _, err := c.Apply(act); err != nil {
			t.Fatal(err)
		}
	}
	for name, other := range map[string]*Eye{"second run": b, "clone": c} {
		if a.Measures() != other.Measures() {
			t.Errorf("%s: measures differ", name)
		}
		if a.x != other.x || a.p != other.p || a.traction != other.traction || a.hand != other.hand {
			t.Errorf("%s: state differs", name)
		}
	}
}
