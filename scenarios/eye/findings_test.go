package eye

import (
	"strings"
	"testing"
)

// player applies actions to one eye and keeps all marks.
type player struct {
	t     *testing.T
	e     *Eye
	marks []Mark
}

func play(t *testing.T, spec Spec, seed uint64) *player {
	return &player{t: t, e: mustNew(t, spec, seed)}
}

func (p *player) do(verb string, n nums, w words) *player {
	p.t.Helper()
	r, err := p.e.Apply(Action{verb, n, w})
	if err != nil {
		p.t.Fatalf("%v", err)
	}
	p.marks = append(p.marks, r.Marks...)
	return p
}

func (p *player) run(s float64) *player {
	p.t.Helper()
	r, err := p.e.Run(s)
	if err != nil {
		p.t.Fatal(err)
	}
	p.marks = append(p.marks, r.Marks...)
	return p
}

func (p *player) pedal(n, s float64) *player {
	return p.do("pedal", nums{"position": n, "for": s}, nil)
}
func (p *player) enter(what string) *player { return p.do("enter", nil, words{"instrument": what}) }
func (p *player) machine(bottle, flow, vac, power float64) *player {
	return p.do("machine", nums{"bottle": bottle, "flow": flow, "vacuum": vac, "power": power}, nil)
}

func (p *player) count(name string, off bool) (n int) {
	for _, m := range p.marks {
		if m.Name == name && m.Off == off {
			n++
		}
	}
	return n
}

func (p *player) shows(id string) bool {
	for _, f := range p.e.Showing() {
		if f.ID == id {
			return true
		}
	}
	return false
}

var (
	oneBig   = []Fragment{{Hour: 8, UL: 100}}
	withGel  = Spec{DialysisHours: 3, DialysisAt: 4, HyaloidBreached: true, VitreousUL: 12, Strand: 0.5, LensUL: 100, Fragments: oneBig}
	emptyBag = Spec{LensUL: -1}
)

// sights brings each finding on, and then off where it can go off. on and off work on
// the eye by actions wherever actions lead there.
var sights = map[string]struct {
	spec    Spec
	on, off func(p *player) // off nil: this finding stays
}{
	"chamber-shallow": {Spec{}, func(p *player) { p.enter("phaco-tip").do("withdraw", nil, nil) }, func(p *player) { p.enter("phaco-tip").pedal(1, 3) }},
	"chamber-flat": {Spec{LensUL: 100}, func(p *player) {
		p.machine(100, 60, 600, 0).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(2, 4)
	}, func(p *player) { p.do("clamp", nil, words{"state": "off"}).pedal(1, 3) }},
	"chamber-deep": {Spec{}, func(p *player) { p.machine(130, 30, 300, 0).enter("phaco-tip").pedal(1, 3) }, func(p *player) { p.machine(50, 30, 300, 0).pedal(1, 4) }},
	"bounce": {Spec{LensUL: 100, Fragments: oneBig}, func(p *player) { p.machine(90, 40, 600, 0.6).enter("phaco-tip").pedal(3, 12) },
		func(p *player) { p.pedal(1, 3) }},
	"bounce-to-one-side": {Spec{LensUL: 100, Fragments: oneBig, DialysisHours: 5, DialysisAt: 4, Stiffness: 0.6}, func(p *player) { p.machine(110, 45, 600, 0.6).enter("phaco-tip").pedal(3, 12) },
		func(p *player) { p.pedal(1, 3) }},
	"pupil-snap": {Spec{LensUL: 100, Fragments: oneBig}, func(p *player) { p.machine(90, 45, 650, 0.6).enter("phaco-tip").pedal(3, 12) },
		func(p *player) { p.pedal(1, 3) }},
	"fragment-will-not-follow": {Spec{LensUL: 100, Fragments: oneBig}, func(p *player) { p.machine(60, 5, 200, 0.5).enter("phaco-tip").pedal(2, 4) },
		func(p *player) { p.machine(90, 40, 300, 0.5).pedal(2, 1) }},
	"strand-at-port": {withGel, func(p *player) { p.enter("phaco-tip").do("place", nums{"nearness": 0.8}, nil).pedal(2, 2) }, func(p *player) { p.pedal(1, 5) }},
	"gel-in-chamber": {withGel, func(p *player) { p.run(1) }, func(p *player) { p.enter("cutter").do("cut", nil, nil) }},
	"pupil-peaked": {withGel, func(p *player) { p.enter("phaco-tip").pedal(1, 2).do("withdraw", nil, nil) },
		func(p *player) { p.do("ovd", nil, nil).enter("cutter").do("cut", nums{"for": 60}, nil) }},
	"chamber-holds-itself": {Spec{}, func(p *player) { p.do("ovd", nil, nil).run(1) }, func(p *player) { p.enter("phaco-tip") }},
	"viscoelastic-washing-out": {Spec{}, func(p *player) { p.do("ovd", nil, words{"kind": "cohesive"}).enter("phaco-tip").pedal(2, 8) },
		func(p *player) { p.pedal(0, 0).do("ovd", nil, nil).run(1) }},
	"eye-hard": {Spec{}, func(p *player) {
		p.machine(140, 5, 100, 0).enter("aspiration-tip").pedal(1, 3).do("squeeze", nums{"pressure": 35, "for": 2}, nil)
	},
		func(p *player) { p.machine(50, 20, 100, 0).pedal(2, 3) }},
	"eye-soft": {Spec{}, func(p *player) { p.enter("phaco-tip").do("withdraw", nil, nil) }, func(p *player) { p.enter("phaco-tip").pedal(1, 2) }},
	"shallow-while-irrigating": {Spec{}, func(p *player) {
		p.machine(60, 20, 200, 0).enter("phaco-tip").do("squeeze", nums{"pressure": 40, "for": 8}, nil)
	}, func(p *player) { p.pedal(1, 4) }},
	"folds": {emptyBag, func(p *player) {
		p.enter("aspiration-tip").do("strip", nums{"sector": 4}, words{"direction": "radial"})
	},
		func(p *player) { p.run(0.1) }},
	"gap-widens": {Spec{DialysisHours: 2, DialysisAt: 4, Strength: 0.2, Stiffness: 0.5}, func(p *player) { p.enter("phaco-tip").do("chop", nums{"hour": 4}, words{"force": "rough"}) },
		func(p *player) { p.pedal(1, 4) }},
	"lens-tilts":   {Spec{DialysisHours: 5, DialysisAt: 4}, func(p *player) { p.machine(120, 20, 200, 0).enter("phaco-tip").pedal(1, 3) }, func(p *player) { p.machine(40, 20, 200, 0).pedal(1, 5) }},
	"lens-wobbles": {Spec{LensUL: -1, DialysisHours: 3, DialysisAt: 4}, func(p *player) { p.run(1) }, func(p *player) { p.do("hooks", nums{"at": 6}, nil).run(1) }},
	"capsule-drawn-up": {emptyBag, func(p *player) {
		p.machine(60, 20, 100, 0).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(2, 1.5)
	}, func(p *player) { p.do("clamp", nil, words{"state": "off"}).machine(110, 20, 100, 0).pedal(1, 4) }},
	"sudden-deepening": {emptyBag, func(p *player) {
		p.machine(40, 50, 600, 1).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(3, 60)
	}, nil},
	"strand-springs-back": {withGel, func(p *player) {
		p.enter("phaco-tip").do("place", nums{"nearness": 1}, nil).pedal(2, 3).pedal(1, 6)
	}, func(p *player) { p.run(3) }},
	"chatter": {Spec{LensUL: 100, Fragments: oneBig}, func(p *player) {
		p.machine(90, 40, 600, 0.5).enter("phaco-tip").pedal(2, 6)
		p.machine(90, 0, 700, 0.5).do("reflux", nums{"pressure": 0, "for": 1}, nil)
		p.e.pieces[0].occluding = true // a clogged tip: closed, and nothing behind it
		p.pedal(3, 3)
	}, func(p *player) { p.pedal(1, 1) }},
	"wound-warm": {Spec{LensUL: 100}, func(p *player) {
		p.machine(20, 5, 50, 1).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(3, 4)
	},
		func(p *player) { p.do("clamp", nil, words{"state": "off"}).machine(100, 40, 300, 0).pedal(2, 20) }},
	"wound-whitens": {Spec{LensUL: 100}, func(p *player) {
		p.machine(20, 5, 50, 1).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(3, 20)
	}, nil},
	"cornea-hazy": {Spec{}, func(p *player) { p.machine(100, 30, 300, 1).enter("phaco-tip").pedal(3, 20) }, nil},
	"implant-off-centre": {Spec{LensUL: -1, DialysisHours: 4, DialysisAt: 4}, func(p *player) { p.do("ovd", nil, nil).do("implant", nil, words{"plane": "bag"}).run(1) },
		func(p *player) { p.do("hooks", nums{"at": 4}, nil).do("ring", nil, nil).run(1) }},
	"cortex-comes": {Spec{LensUL: -1}, func(p *player) { p.enter("aspiration-tip").do("strip", nums{"sector": 9}, nil) }, func(p *player) { p.run(4) }},
	"cortex-holds": {Spec{LensUL: -1, DialysisHours: 3, DialysisAt: 4}, func(p *player) {
		p.enter("aspiration-tip").do("strip", nums{"sector": 6}, words{"direction": "radial"})
	}, func(p *player) { p.run(4) }},
	"lens-drops-back": {Spec{DialysisHours: 8, DialysisAt: 4, Strength: 0.15}, func(p *player) { p.enter("phaco-tip").do("chop", nil, words{"force": "rough"}) }, nil},
	"pupil-small":     {Spec{PupilMM: 4}, func(p *player) { p.run(1) }, func(p *player) { p.do("expand-pupil", nil, nil).run(1) }},
	"pupil-shrinks": {Spec{FloppyIris: 1}, func(p *player) { p.machine(90, 40, 300, 0).enter("phaco-tip").pedal(2, 5) },
		func(p *player) { p.pedal(0, 5) }},
	"iris-billows": {Spec{FloppyIris: 1}, func(p *player) { p.machine(90, 40, 300, 0).enter("phaco-tip").pedal(2, 3) },
		func(p *player) {
			p.machine(60, 8, 150, 0).do("pupil-drug", nil, words{"kind": "dilating"}).pedal(2, 3)
		}},
	"iris-prolapses": {Spec{FloppyIris: 0.8}, func(p *player) { p.machine(110, 30, 300, 0).enter("phaco-tip").pedal(1, 15) },
		func(p *player) { p.pedal(0, 1).do("burp", nil, nil).do("reposit-iris", nil, nil).run(1) }},
	"iris-at-port": {Spec{FloppyIris: 0.8, PupilMM: 4}, func(p *player) {
		p.machine(90, 40, 400, 0).enter("phaco-tip").do("place", nums{"nearness": 0.5}, nil).pedal(2, 4)
	}, func(p *player) { p.pedal(1, 1) }},
	"iris-on-capsule": {Spec{BlockProne: 1}, func(p *player) { p.machine(120, 20, 200, 0).enter("phaco-tip").pedal(1, 4) },
		func(p *player) { p.do("lift-iris", nil, nil).run(0.1) }},
	"iris-bows-forward": {Spec{}, func(p *player) { p.do("air", nums{"fill": 1}, nil).run(1) }, func(p *player) { p.do("burp", nil, nil).run(1) }},
	"dark-mound":        {Spec{BloodUL: 10}, func(p *player) { p.do("look-behind", nil, nil) }, func(p *player) { p.e.behind.blood = 10; p.e.behind.bleeding = false; p.run(4) }},
	"sudden-pain": {Spec{ChoroidFragile: 1}, func(p *player) {
		p.e.behind.at = 0.01
		p.enter("phaco-tip").do("withdraw", nil, nil).run(1)
	}, func(p *player) { p.run(6) }},
	"membrane-flap": {Spec{MembraneLoose: 0.5}, func(p *player) { p.enter("phaco-tip") },
		func(p *player) { p.pedal(0, 0).do("withdraw", nil, nil).do("air", nums{"fill": 1}, nil).run(1) }},
	"cornea-blurs": {Spec{MembraneLoose: 1}, func(p *player) {
		p.do("enter", nil, words{"instrument": "phaco-tip", "way": "forced"}).machine(90, 40, 300, 0).pedal(2, 20)
	}, func(p *player) { p.pedal(0, 0).do("withdraw", nil, nil).do("air", nil, nil).run(1) }},
	"implant-slips": {Spec{LensUL: -1, DialysisHours: 3, DialysisAt: 4}, func(p *player) {
		p.do("ovd", nil, nil).do("implant", nums{"hour": 4.7}, words{"plane": "sulcus"}).run(5)
	}, func(p *player) { p.do("turn-implant", nums{"hour": 1}, nil).run(12) }},
	"implant-drops": {Spec{LensUL: -1, DialysisHours: 4, DialysisAt: 4}, func(p *player) {
		p.do("implant", nums{"hour": 4}, words{"plane": "sulcus"}).run(20)
	}, nil},
	"wound-gapes": {Spec{LensUL: 100}, func(p *player) {
		p.machine(20, 5, 50, 1).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(3, 20).pedal(0, 0)
	}, func(p *player) { p.do("withdraw", nil, nil).do("suture", nil, nil).run(1) }},
	"clear-at-wound": {Spec{}, func(p *player) { p.do("check-strands", nil, nil) }, func(p *player) { p.run(4) }},
}

// Every finding of the catalogue comes on, and goes off again where it can.
func TestEveryFindingComesAndGoes(t *testing.T) {
	for _, info := range Findings() {
		s, ok := sights[info.ID]
		if !ok {
			t.Errorf("%s: nothing brings it on here", info.ID)
			continue
		}
		t.Run(info.ID, func(t *testing.T) {
			p := play(t, s.spec, 1)
			s.on(p)
			if p.count(info.ID, false) == 0 {
				t.Fatalf("did not come on; measures %v", describe(p.e))
			}
			if s.off == nil {
				if !p.run(5).shows(info.ID) {
					t.Error("did not stay on")
				}
				return
			}
			s.off(p)
			if p.count(info.ID, true) == 0 || p.shows(info.ID) {
				t.Errorf("did not go off; measures %v", describe(p.e))
			}
		})
	}
}

func describe(e *Eye) map[string]float64 {
	m, out := e.Measures(), map[string]float64{}
	for i, info := range measureTable {
		if m[i] != 0 {
			out[info.Name] = m[i]
		}
	}
	return out
}

// Texts carry a clock hour from 1 to 12 and no other number.
func TestFindingTextsNameTheHour(t *testing.T) {
	p := play(t, Spec{DialysisHours: 5, DialysisAt: 4}, 1)
	p.machine(120, 20, 200, 0).enter("phaco-tip").pedal(1, 3)
	for _, m := range p.marks {
		if m.Name == "lens-tilts" {
			if m.Text != "The lens tilts toward 4 o'clock." {
				t.Errorf("tilt of a lens loose at 4 o'clock under a high bottle: %q", m.Text)
			}
			return
		}
	}
	t.Error("no tilt was seen")
}

// A finding does not flicker: not twice on within 3 s, and on and off alternate.
func TestFindingsDoNotFlicker(t *testing.T) {
	pieces := []Fragment{{8, 70}, {1, 70}}
	for name, spec := range map[string]Spec{
		"ordinary eye": {LensUL: 150, Fragments: pieces},
		"beyond": {LensUL: 150, Fragments: pieces, FloppyIris: 0.6, PupilMM: 5.2, BlockProne: 1, Misdirect: 0.5, ChoroidFragile: 1,
			BloodUL: 20, MembraneLoose: 0.4, DialysisHours: 3, DialysisAt: 4, HyaloidBreached: true, VitreousUL: 4},
	} {
		p := play(t, spec, 2)
		p.machine(100, 45, 600, 0.6).enter("phaco-tip").do("place", nums{"nearness": 0.3}, nil).pedal(3, 60)
		p.do("cough", nil, nil).pedal(1, 5).pedal(2, 20).pedal(0, 2).do("ovd", nil, nil).do("withdraw", nil, nil)
		last, on := map[string]float64{}, map[string]bool{}
		for _, m := range p.marks {
			if _, known := sights[m.Name]; !known {
				continue
			}
			if m.Off == !on[m.Name] {
				t.Errorf("%s: %s at %g s: off %v while on %v", name, m.Name, m.At, m.Off, on[m.Name])
			}
			on[m.Name] = !m.Off
			if m.Off {
				continue
			}
			if at, ok := last[m.Name]; ok && m.At-at < 3-1e-9 {
				t.Errorf("%s: %s came on at %g and again at %g s", name, m.Name, at, m.At)
			}
			last[m.Name] = m.At
		}
		if len(last) < 3 {
			t.Errorf("%s: only %v was seen", name, last)
		}
	}
}

// The texts shown never carry a measure.
func TestPatternsNameNoNumbers(t *testing.T) {
	for _, f := range Findings() {
		if strings.ContainsAny(f.Pattern, "0123456789%") {
			t.Errorf("%s: %q", f.ID, f.Pattern)
		}
	}
}
