package eye

// Descemet's membrane and air. flap is the share of the membrane that hangs free, air the
// share of the chamber filled with air; both 0 in an ordinary eye.

// peel is what an entry does to the membrane at the main wound: force strips it, more so
// where it sits loosely; a flap already there is caught on. A new port passes beside it.
func (e *Eye) peel(forced, newPort bool) {
	if newPort && !forced {
		return
	}
	more := 0.15 * e.spec.MembraneLoose
	if forced {
		more = 0.1 + 0.3*e.spec.MembraneLoose
	}
	if e.flap > 0 && !newPort {
		more += 0.05
	}
	if more > 0 {
		e.flap += more * (1 - e.flap)
		e.wake()
	}
}

// moveMembrane: a jet lifts the flap further; viscoelastic or air behind the cornea holds
// it. Air goes with irrigation and through an open wound.
func (e *Eye) moveMembrane(h float64) {
	if e.flap > 0 && e.fl.irrigating {
		jet := max(0, e.q) / 500
		e.flap += h * e.par.FlapSpread * jet * e.flap * (1 - e.flap) * (1 - e.phi) * (1 - e.air)
	}
	if e.air > 0 {
		if e.fl.irrigating {
			e.air *= 1 - min(1, h/2)
		}
		if e.set.wound == woundOpen {
			e.air *= 1 - min(1, h/4)
		}
	}
}

// underViscoelastic: put in by the side it lays the flap back; through the main wound it
// goes under the flap and makes a false chamber.
func (e *Eye) underViscoelastic(mainPort bool) {
	switch {
	case e.flap <= 0:
	case mainPort:
		e.flap += 0.15 * (1 - e.flap)
	default:
		e.flap *= 1 - 0.3*e.phi
	}
}

// fillWithAir puts an air bubble in, which lays the membrane back against the cornea.
func (e *Eye) fillWithAir(share float64) {
	e.inject(share*150, 25, true)
	e.vo *= 1 - share
	e.air = max(e.air, share)
	e.flap *= 1 - 0.95*share
	e.wake()
	e.pass(3)
	e.checkBag()
	e.mark("air-filled", "")
}

// burp lets fluid, and some air, out beside a side port until the eye is soft enough.
func (e *Eye) burp() {
	e.change(func(s *settings) { s.burping = true })
	e.advance(int64(nearest(2/tick)), func() bool { return e.pa < 15 })
	e.air *= 0.7
	e.change(func(s *settings) { s.burping = false })
	e.checkBag()
	e.mark("burped", "")
}

// suture closes the wound with stitches, which hold where hydration does not.
func (e *Eye) suture() {
	e.pass(20)
	e.change(func(s *settings) { s.sutured, s.sealed, s.wound = true, true, woundClosed })
	e.mark("sutured", "")
}

// pressWound holds it shut with a finger until something goes in again.
func (e *Eye) pressWound() {
	e.pass(1)
	e.change(func(s *settings) { s.pressed, s.wound = true, woundClosed })
	e.mark("wound-pressed", "")
}

// gape is how far a burned wound stands open, 0..1.
func (e *Eye) gape() float64 {
	g := min(1, e.burn/e.par.BurnGape)
	if e.set.sutured || e.set.pressed {
		g *= 0.1
	}
	return g
}

// closedWound is the resistance of the main wound with nothing in it, mmHg/(mL/min). Until
// it is sealed it gives way to an eye that is pressed from behind; burned, it gapes.
func (e *Eye) closedWound() float64 {
	r := e.par.RSealed
	if !e.set.sealed && !e.set.pressed && e.behind.press() > 0.3 {
		r = e.par.RStrained
	}
	if e.burn > 0 {
		r /= 1 + 100*e.gape()
	}
	return r
}
