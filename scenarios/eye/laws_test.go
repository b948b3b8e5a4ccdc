package eye

import (
	"math"
	"testing"

	"zonule/scenarios/eye/ode"
)

// More vacuum at the break of an occlusion never gives a smaller surge: the volume by
// which the chamber falls below where it settles with the port open.
func TestSurgeGrowsWithVacuum(t *testing.T) {
	surge := func(cm, vac float64) float64 {
		last, lowest := 0.0, math.Inf(1)
		scriptS1(cm, 40, vac, tick, func(tm float64, y ode.State, f *fluid) {
			if last = y.A; tm > 6 {
				lowest = min(lowest, y.A)
			}
		})
		return last - lowest
	}
	for cm := 60.0; cm <= 120; cm += 20 {
		before := 0.0
		for vac := 100.0; vac <= 700; vac += 50 {
			s := surge(cm, vac)
			if s < before-1e-9 {
				t.Errorf("bottle %g cm, vacuum %g: surge %g uL, %g at 50 mmHg less", cm, vac, s, before)
			}
			before = s
		}
		if before < 10 {
			t.Errorf("bottle %g cm: 700 mmHg makes a surge of only %g uL", cm, before)
		}
	}
}

// edgePull is the peak load on the empty bag of a dialysis under 2 mN at its edge, mN.
func edgePull(hours float64, ring bool) float64 {
	b := defaultShape.newBag()
	b.ring = ring
	b.open(hours, 6, 1)
	edge := b.n / 2
	for !b.alive[edge] {
		edge++
	}
	tl := &tool{onRim: true, node: edge, spread: 1, fr: -2}
	b.under(tl)
	b.pushed(0, tl)
	_, _, load := b.ratios(b.ws.u, b.ws.v, b.ws.w)
	return load
}

// A larger dialysis never has a smaller peak load at a fixed pull without a ring, hour
// by hour; half hours lie within 0.3 % of that (between 1.5 and 2.5 h the bag gives a
// little more than the gap grows). A ring lowers it.
func TestDialysisAndRingLoads(t *testing.T) {
	last, lastWhole := 0.0, 0.0
	for hours := 0.0; hours <= 8; hours += 0.5 {
		bare, ringed := edgePull(hours, false), edgePull(hours, true)
		if bare < 0.997*last || hours == math.Floor(hours) && bare < lastWhole {
			t.Errorf("%g h: peak load %g mN after %g with half an hour less, %g at the last whole hour", hours, bare, last, lastWhole)
		}
		if hours == math.Floor(hours) {
			lastWhole = bare
		}
		if ringed >= bare {
			t.Errorf("%g h: %g mN with a ring, %g without", hours, ringed, bare)
		}
		if hours >= 1 && hours <= 3 && ringed > bare/2 {
			t.Errorf("%g h: the ring lowers the peak load only from %g to %g mN", hours, bare, ringed)
		}
		last = bare
	}
}

// Viscoelastic before a withdrawal never leaves the chamber shallower than none, and
// never brings more gel.
func TestViscoelasticBeforeWithdrawal(t *testing.T) {
	for seed := uint64(1); seed <= 12; seed++ {
		spec := Spec{DialysisHours: float64(seed % 6), DialysisAt: 4, Strength: 0.5 + 0.04*float64(seed), Stiffness: 0.6, LensUL: 40 * float64(1+seed%4),
			HyaloidBreached: seed%2 == 0}
		p := play(t, spec, seed)
		p.machine(60+5*float64(seed), 30, 300, 0).enter("phaco-tip").pedal(1, 3).pedal(0, 0)
		dry, filled := p.e.Clone(), p.e.Clone()
		after := func(e *Eye, first ...Action) Measures {
			for _, a := range append(first, Action{Verb: "withdraw"}) {
				if _, err := e.Apply(a); err != nil {
					t.Fatal(err)
				}
			}
			return e.Measures()
		}
		d, f := after(dry), after(filled, Action{Verb: "ovd"})
		if f[mDepth] < d[mDepth] || f[mLowestDepth] < d[mLowestDepth] || f[mVlost] > d[mVlost]+1e-12 {
			t.Errorf("seed %d: with viscoelastic depth %g (lowest %g), gel %g; without %g (%g), %g",
				seed, f[mDepth], f[mLowestDepth], f[mVlost], d[mDepth], d[mLowestDepth], d[mVlost])
		}
	}
}

// Cutting never gives more traction than drawing on the same gel with the same cutter
// uncut, and a faster cutter never more than a slower one.
func TestCuttingSparesTraction(t *testing.T) {
	for seed := uint64(1); seed <= 8; seed++ {
		for _, vac := range []float64{100, 250, 400, 600} {
			p := play(t, Spec{DialysisHours: 3, DialysisAt: 4, HyaloidBreached: true, VitreousUL: float64(2 * seed), Strand: 0.1 * float64(seed)}, seed)
			p.machine(60, 20, vac, 0).enter("cutter").do("place", nums{"nearness": 0.7}, nil)
			drawn := func(pedal, cuts float64) float64 {
				e := p.e.Clone()
				for _, a := range []Action{{"machine", nums{"cuts": cuts}, nil}, {"pedal", nums{"position": pedal, "for": 6}, nil}} {
					if _, err := e.Apply(a); err != nil {
						t.Fatal(err)
					}
				}
				return e.traction
			}
			uncut, slow, fast := drawn(2, 4000), drawn(3, 500), drawn(3, 5000)
			if slow > uncut || fast > slow {
				t.Errorf("seed %d vacuum %g: traction uncut %g, 500/min %g, 5000/min %g", seed, vac, uncut, slow, fast)
			}
		}
	}
}

// High infusion drives fluid behind the bag, so that the vitreous pushes harder at the
// next drop of the chamber (mechanism 5).
func TestHighInfusionHydratesTheVitreous(t *testing.T) {
	pushAfter := func(cm float64) (back, push float64) {
		p := play(t, Spec{DialysisHours: 5, DialysisAt: 4, LensUL: 50}, 1)
		p.machine(cm, 20, 200, 0).enter("phaco-tip").pedal(1, 20)
		back = -p.e.fl.u
		p.do("withdraw", nil, nil)
		return back, p.e.pv - p.e.pa
	}
	backLow, pushLow := pushAfter(50)
	backHigh, pushHigh := pushAfter(120)
	if backHigh <= backLow || pushHigh <= pushLow {
		t.Errorf("bottle 50: %g uL behind, push %g mmHg; 120: %g uL, %g mmHg", backLow, pushLow, backHigh, pushHigh)
	}
}

// Gel in the port slows the flow, so that pieces do not follow (mechanism 6).
func TestGelSlowsPieces(t *testing.T) {
	follow := func(strand float64) float64 {
		p := play(t, Spec{LensUL: 100, Fragments: oneBig, HyaloidBreached: true, Strand: strand}, 1)
		p.machine(90, 35, 300, 0).enter("phaco-tip")
		p.e.strand = strand
		p.pedal(2, 1.5)
		return p.e.pieces[0].approach
	}
	if free, held := follow(0), follow(0.6); held >= free {
		t.Errorf("approach %g with a strand, %g without", held, free)
	}
}

// A long run in parts is the same as in one, to the bit, on the grid of long steps.
func TestRunsAddUp(t *testing.T) {
	a, b := mustNew(t, bad, 3), mustNew(t, bad, 3)
	for _, e := range []*Eye{a, b} {
		if _, err := e.Apply(Action{Verb: "enter", Word: words{"instrument": "phaco-tip"}}); err != nil {
			t.Fatal(err)
		}
	}
	a.Run(6)
	for range 12 {
		b.Run(0.5)
	}
	if a.Measures() != b.Measures() {
		t.Error("12 runs of 0.5 s differ from one of 6 s")
	}
	c := mustNew(t, Spec{}, 1)
	for range 1000 {
		c.Run(0.0013)
	}
	if math.Abs(c.Time()-1.3) > tick {
		t.Errorf("1000 runs of 1.3 ms took the eye to %g s", c.Time())
	}
}
