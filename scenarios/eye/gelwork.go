package eye

// cut cuts gel until it is gone or time is up. What is caught in the wound goes with a
// completed cut.
func (e *Eye) cut(a Action) {
	e.change(func(s *settings) {
		s.pedal, s.limit, s.flow, s.cuts, s.bottle, s.nearness = 3, a.num("vacuum"), a.num("flow"), a.num("cuts"), a.num("bottle"), a.num("nearness")
	})
	e.advance(int64(nearest(a.num("for")/tick)), func() bool { return e.vp < 0.2 })
	if e.vp < 0.2 {
		e.wound = 0
	}
	e.change(func(s *settings) { s.pedal = 1 })
	e.pass(0.5)
	e.checkBag()
}

// pull draws gel out without cutting it: the wrong answer, which can be given.
func (e *Eye) pull(with string) {
	if with == "sponge" {
		// A sponge takes hold of what is in the wound and of gel near it.
		e.strand = max(e.wound, 0.5*e.vp/(e.vp+6))
	}
	held := e.strand
	e.traction += 3 * held
	e.drag()
	if with == "sponge" {
		out := min(e.vp, 10*held, e.spare())
		e.vp -= out
		e.vout += out
		e.x -= out
		e.wound = min(1, e.wound+0.5*held)
	}
	e.settle()
	e.pass(2)
	e.checkBag()
	e.mark("pulled-vitreous", "")
}

// checkStrands wipes the wound and looks at the pupil: what is there is seen.
func (e *Eye) checkStrands() {
	e.pass(4)
	e.mark("strands-checked", "")
	w, clear := &e.watch, true
	if e.vp > 0.3 {
		w.on(e, fGel, 0)
		clear = false
	}
	if e.wound > 0.05 {
		w.on(e, fPeaked, 0)
		clear = false
	}
	if clear {
		w.onFor(e, fClear, 0, 3)
		return
	}
	e.mark("strand-found", "")
}
