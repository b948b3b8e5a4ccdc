package eye

import "testing"

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

// TestSameBits: the same seed and actions give the same bits, also through a clone
// taken midway, which the original's further life does not touch.
func TestSameBits(t *testing.T) {
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
