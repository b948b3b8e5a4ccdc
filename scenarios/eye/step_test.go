package eye

import "testing"

// busyEye aspirates at a fragment with gel about: every part of the step is at work.
func busyEye(t testing.TB) *Eye {
	e := mustNew(t, Spec{DialysisHours: 3, DialysisAt: 4, LensUL: 150, Fragments: []Fragment{{8, 60}, {12, 60}}, HyaloidBreached: true, VitreousUL: 3, Strand: 0.1}, 3)
	for _, a := range []Action{
		{"machine", nums{"bottle": 90, "flow": 30, "vacuum": 300}, nil},
		{"ovd", nums{"up_to": 60}, nil},
		{"enter", nil, words{"instrument": "phaco-tip"}},
		{"place", nums{"nearness": 0.5}, nil},
		{"pedal", nums{"position": 3, "for": 0.5}, nil},
	} {
		if _, err := e.Apply(a); err != nil {
			t.Fatal(err)
		}
	}
	return e
}

func TestStepDoesNotAllocate(t *testing.T) {
	e := busyEye(t)
	if n := testing.AllocsPerRun(5000, func() { e.step(1); e.ticks++ }); n != 0 {
		t.Errorf("%g allocations in a step", n)
	}
	e.iris.floppy, e.behind.leaky, e.behind.fragile, e.flap = 0.5, 0.3, 0.5, 0.1
	e.wake()
	if n := testing.AllocsPerRun(5000, func() { e.step(1); e.ticks++ }); n != 0 || !e.awake {
		t.Errorf("%g allocations in a step beyond the ordinary eye", n)
	}
	e.checkBag()
	if n := testing.AllocsPerRun(100, func() { e.bag.changed(); e.checkBag() }); n != 0 {
		t.Errorf("%g allocations in a bag check", n)
	}
	tl := &tool{onRim: true, node: 30, spread: 2, fr: -0.5, stop: 2}
	if n := testing.AllocsPerRun(100, func() { e.bag.strain(tl, 4) }); n != 0 {
		t.Errorf("%g allocations in a bag load", n)
	}
}

func TestRunAllocatesOnlyMarks(t *testing.T) {
	e := mustNew(t, Spec{}, 1)
	e.Run(1)
	if n := testing.AllocsPerRun(20, func() { e.Run(0.5) }); n > 1 {
		t.Errorf("%g allocations in a quiet run of 0.5 s", n)
	}
}

func BenchmarkStep(b *testing.B) {
	e := busyEye(b)
	start := *e
	for i := 0; b.Loop(); i++ {
		if i%1000 == 0 { // keep to the busy half second
			bag := e.bag
			*e = start
			e.bag = bag
		}
		e.step(1)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
}

// BenchmarkStepBeyond has iris, membrane and the back of the eye at work too.
func BenchmarkStepBeyond(b *testing.B) {
	e := busyEye(b)
	e.iris.floppy, e.behind.leaky, e.behind.fragile, e.flap = 0.5, 0.3, 0.5, 0.1
	e.wake()
	start := *e
	for i := 0; b.Loop(); i++ {
		if i%1000 == 0 {
			bag := e.bag
			*e = start
			e.bag = bag
		}
		e.step(1)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
}

// BenchmarkRunQuiet is what a server pays while a trainee thinks for half a second.
func BenchmarkRunQuiet(b *testing.B) {
	e := mustNew(b, Spec{DialysisHours: 3}, 1)
	e.Apply(Action{Verb: "enter", Word: words{"instrument": "phaco-tip"}})
	e.Run(5)
	for b.Loop() {
		e.Run(0.5)
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		mustNew(b, Spec{DialysisHours: 2}, 1)
	}
}

func BenchmarkClone(b *testing.B) {
	e := busyEye(b)
	for b.Loop() {
		e.Clone()
	}
}

// BenchmarkBagSolve is one equilibrium of the bag with a new factorisation, in plane
// and axial.
func BenchmarkBagSolve(b *testing.B) {
	g := defaultShape.newBag()
	g.open(3, 6, 1)
	for b.Loop() {
		g.changed()
		g.rest()
	}
}
