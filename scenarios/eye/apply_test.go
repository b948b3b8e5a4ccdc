package eye

import (
	"strings"
	"testing"
)

// What is impossible is refused in words and changes nothing.
func TestRefusals(t *testing.T) {
	phaco := []Action{{Verb: "enter", Word: words{"instrument": "phaco-tip"}}}
	torn := func(e *Eye) { e.rent = true }
	for _, c := range []struct {
		name  string
		spec  Spec
		first []Action
		set   func(*Eye)
		a     Action
		says  string
	}{
		{"second instrument", Spec{}, phaco, nil, Action{Verb: "enter", Word: words{"instrument": "cutter"}}, "withdraw it first"},
		{"withdraw nothing", Spec{}, nil, nil, Action{Verb: "withdraw"}, "no instrument"},
		{"ring past the tip", Spec{}, phaco, nil, Action{Verb: "ring"}, "fills the wound"},
		{"ring in a torn capsule", Spec{}, nil, torn, Action{Verb: "ring"}, "torn"},
		{"second ring", Spec{}, []Action{{Verb: "ring"}}, nil, Action{Verb: "ring"}, "already"},
		{"ring at 9 h", Spec{DialysisHours: 9}, nil, nil, Action{Verb: "ring"}, "lost its support"},
		{"bag implant in a torn capsule", Spec{LensUL: -1}, nil, torn, Action{Verb: "implant", Word: words{"plane": "bag"}}, "sulcus"},
		{"implant at 9 h", Spec{LensUL: -1, DialysisHours: 9}, nil, nil, Action{Verb: "implant", Word: words{"plane": "sulcus"}}, "lost its support"},
		{"implant on the nucleus", Spec{}, nil, nil, Action{Verb: "implant", Word: words{"plane": "bag"}}, "lens matter"},
		{"second implant", Spec{LensUL: -1}, []Action{{Verb: "implant", Word: words{"plane": "bag"}}}, nil, Action{Verb: "implant", Word: words{"plane": "bag"}}, "already"},
		{"cut without a cutter", Spec{}, phaco, nil, Action{Verb: "cut"}, "enter the cutter"},
		{"strip without the tip", Spec{}, phaco, nil, Action{Verb: "strip", Num: nums{"sector": 3}}, "aspiration tip"},
		{"strip a clear sector", Spec{Cortex: []int{1}}, []Action{{Verb: "enter", Word: words{"instrument": "aspiration-tip"}}}, nil, Action{Verb: "strip", Num: nums{"sector": 3}}, "no cortex"},
		{"chop with nothing", Spec{LensUL: -1}, phaco, nil, Action{Verb: "chop"}, "no nucleus"},
		{"chop without the tip", Spec{}, nil, nil, Action{Verb: "chop"}, "phaco-tip"},
		{"take a piece that is not", Spec{}, phaco, nil, Action{Verb: "take"}, "no such loose piece"},
		{"dry ultrasound sculpting", Spec{}, append(phaco, Action{Verb: "clamp", Word: words{"state": "on"}}), nil, Action{Verb: "sculpt"}, "irrigation"},
		{"viscoelastic past the tip", Spec{}, phaco, nil, Action{Verb: "ovd", Word: words{"port": "main"}}, "side port"},
		{"seal around the tip", Spec{}, phaco, nil, Action{Verb: "seal"}, "withdraw"},
		{"sponge past the tip", Spec{}, phaco, nil, Action{Verb: "pull"}, "withdraw"},
		{"hooks twice", Spec{}, []Action{{Verb: "hooks"}}, nil, Action{Verb: "hooks"}, "already"},
		{"hydrodissect past the tip", Spec{}, phaco, nil, Action{Verb: "hydrodissect"}, "withdraw"},
		{"wash out with nothing", Spec{}, nil, nil, Action{Verb: "remove-ovd"}, "aspirating tip"},
		{"reflux nothing", Spec{}, nil, nil, Action{Verb: "reflux"}, "no instrument"},
	} {
		e := mustNew(t, c.spec, 1)
		for _, a := range c.first {
			if _, err := e.Apply(a); err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
		}
		if c.set != nil {
			c.set(e)
		}
		before := e.Measures()
		_, err := e.Apply(c.a)
		r, ok := err.(*Refusal)
		if !ok || !strings.Contains(err.Error(), c.says) || r.Instead == "" || r.Verb != c.a.Verb {
			t.Errorf("%s: got %v; want a refusal with %q", c.name, err, c.says)
		}
		if e.Measures() != before {
			t.Errorf("%s: the refused action changed the eye", c.name)
		}
	}
	if _, err := mustNew(t, Spec{}, 1).Run(301); err == nil {
		t.Error("301 s were run")
	}
}

func TestSpecCheck(t *testing.T) {
	for _, c := range []struct {
		spec Spec
		says string
	}{
		{Spec{Strength: 3}, "strength"}, {Spec{Grade: 7}, "grade"}, {Spec{DialysisHours: 13}, "dialysis"},
		{Spec{LensUL: 50, Fragments: []Fragment{{3, 60}}}, "more than"}, {Spec{Cortex: []int{12}}, "sector"},
		{Spec{Strand: 0.5}, "breached"}, {Spec{Fragments: []Fragment{{13, 5}}}, "piece 0"},
	} {
		if _, err := New(c.spec, 1); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v; want an error with %q", c.spec, err, c.says)
		}
	}
}

func TestCortexOfTheSpec(t *testing.T) {
	for _, c := range []struct {
		cortex []int
		want   float64
	}{{nil, 12}, {[]int{}, 0}, {[]int{0, 3}, 2}} {
		if got := mustNew(t, Spec{Cortex: c.cortex}, 1).Measures()[mCortex]; got != c.want {
			t.Errorf("%v: %g sectors, want %g", c.cortex, got, c.want)
		}
	}
}

// The extremes of an action see what it switches on and off again.
func TestExtremesSeeThePedal(t *testing.T) {
	p := play(t, Spec{}, 1)
	p.enter("phaco-tip")
	r, err := p.e.Apply(Action{Verb: "sculpt", Num: nums{"strokes": 1}})
	if err != nil || r.High[mUltrasound] != 1 || r.After[mUltrasound] != 0 || r.High[mPedal] != 3 {
		t.Errorf("%v; ultrasound at most %g, pedal at most %g", err, r.High[mUltrasound], r.High[mPedal])
	}
}

// Signals come in the order of what was done, and each named signal of an ordinary
// script is in the catalogue.
func TestSignals(t *testing.T) {
	p := play(t, bad, 7)
	for _, a := range script {
		p.do(a.Verb, a.Num, a.Word)
	}
	known := map[string]bool{"said-plan": true}
	for _, s := range Signals() {
		known[s.Name] = true
	}
	for _, f := range Findings() {
		known[f.ID] = true
	}
	got := map[string]float64{}
	for _, m := range p.marks {
		if !known[m.Name] {
			t.Errorf("mark %q is in no catalogue", m.Name)
		}
		if _, ok := got[m.Name]; !ok && !m.Off {
			got[m.Name] = m.At
		}
	}
	order := []string{"settings-raised", "hydrodissected", "irrigation-on", "entered", "ultrasound-on", "sculpted", "chopped", "rotated", "refluxed",
		"viscoelastic", "withdrew", "ring-placed", "cutting", "strands-checked", "stripped-tangential", "squeezed", "said-plan", "hooks-placed", "sealed"}
	for i, name := range order {
		at, ok := got[name]
		if !ok {
			t.Errorf("%s did not come", name)
		} else if i > 0 && at < got[order[i-1]] {
			t.Errorf("%s at %g came before %s at %g", name, at, order[i-1], got[order[i-1]])
		}
	}
}

// The pedal stops at its condition.
func TestPedalUntil(t *testing.T) {
	p := play(t, Spec{LensUL: 100, Fragments: []Fragment{{8, 10}, {2, 10}}}, 1)
	p.machine(90, 35, 300, 0.6).enter("phaco-tip")
	p.do("pedal", nums{"position": 3}, words{"until": "fragment-gone"})
	if got := p.e.Measures()[mFragments]; got != 1 {
		t.Errorf("%g pieces left, want 1", got)
	}
	at := p.e.Time()
	p.do("pedal", nums{"position": 1, "for": 5}, words{"until": "chamber-shallow"})
	if p.e.Time()-at < 4.99 {
		t.Error("stopped although the chamber stayed deep")
	}
	p.do("clamp", nil, words{"state": "on"})
	r, err := p.e.Apply(Action{"pedal", nums{"position": 2, "for": 30}, words{"until": "new-finding"}})
	if err != nil || r.End-r.Start > 10 || !newFinding(r.Marks) {
		t.Errorf("until a new finding: %v, %g s, %v", err, r.End-r.Start, r.Marks)
	}
}

func TestTrace(t *testing.T) {
	e := mustNew(t, Spec{}, 1)
	var at []float64
	e.Trace(0.1, func(tm float64, m Measures) {
		at = append(at, tm)
		if m[mTime] != tm {
			t.Errorf("measures of %g s at %g", m[mTime], tm)
		}
	})
	e.Run(1)
	if len(at) < 10 || len(at) > 11 {
		t.Errorf("%d points in 1 s at 0.1 s: %v", len(at), at)
	}
	e.Trace(0, nil)
	n := len(at)
	e.Run(1)
	if len(at) != n {
		t.Error("the recorder goes on after it was stopped")
	}
}

// What the trainee gets from the opening does not count against him: counters restart.
func TestResetCounters(t *testing.T) {
	p := play(t, Spec{DialysisHours: 2, DialysisAt: 4, Strength: 0.15, Stiffness: 0.5}, 1)
	p.enter("phaco-tip").do("chop", nil, words{"force": "rough"})
	if p.e.Outcome().NewDialysisHours == 0 {
		t.Fatal("the chop broke nothing")
	}
	p.e.ResetCounters()
	o := p.e.Outcome()
	if o.NewDialysisHours != 0 || o.PeakLoadRatio != 0 || o.LowestDepthMM != p.e.depth || o.DialysisHours <= 2 {
		t.Errorf("after the restart: %+v", o)
	}
}

// Viscoelastic can be put in with irrigation running, by which it is not kept out, and
// into a quiet closed eye, from which fluid escapes for it.
func TestViscoelasticGoesIn(t *testing.T) {
	for name, first := range map[string][]Action{
		"closed eye":     nil,
		"tip, pedal 0":   {{Verb: "enter", Word: words{"instrument": "phaco-tip"}}, {Verb: "pedal", Num: nums{"position": 0}}},
		"tip, pedal 1":   {{Verb: "enter", Word: words{"instrument": "phaco-tip"}}},
		"cutter, clamps": {{Verb: "enter", Word: words{"instrument": "cutter"}}, {Verb: "clamp", Word: words{"state": "on"}}},
	} {
		p := play(t, Spec{LensUL: 120}, 1)
		for _, a := range first {
			p.do(a.Verb, a.Num, a.Word)
		}
		p.do("ovd", nil, nil)
		if m := p.e.Measures(); m[mPhi] < 0.55 || m[mPhi] > 1 || m[mIOP] > 75 {
			t.Errorf("%s: fill %g at %g mmHg", name, m[mPhi], m[mIOP])
		}
	}
}
