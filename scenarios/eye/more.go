package eye

// wake decides whether the parts beyond the ordinary eye have anything to do. While they
// do not, a step does not look at them.
func (e *Eye) wake() {
	i, b := &e.iris, &e.behind
	e.awake = i.floppy > 0 || i.dilated || i.constricted || i.held || i.prone > 0 || i.pupil < 5 ||
		b.leaky > 0 || b.astray > 0 || b.osmotic > 0 || b.tapLeft > 0 || b.fragile > 0 || b.bleeding || b.blood > 0 ||
		e.flap > 0 || e.air > 0 || e.gapOVD > 0 || e.outsideBag()
}

// beyond advances those parts by one step.
func (e *Eye) beyond(h float64) {
	e.moveIris(h)
	e.pressFromBehind(h)
	e.moveMembrane(h)
	if e.outsideBag() {
		e.slide(h)
	}
	if e.gapOVD > 0 {
		e.gapOVD *= 1 - min(1, h*(1-e.rho)*(max(0, e.qa)*(0.1+e.set.nearness)+0.1*max(0, e.ql))/200)
	}
}

// bearBeyond takes what the starting eye says about those parts.
func (e *Eye) bearBeyond(seed uint64) {
	s := &e.spec
	e.iris = iris{pupil: s.PupilMM, widest: s.PupilMM, floppy: s.FloppyIris, prone: s.BlockProne}
	s2 := newStream(seed, "choroid")
	e.behind = behind{leaky: s.Misdirect, astray: s.AstrayUL, outside: s.OutsideMMHg, fragile: s.ChoroidFragile, at: s2.weibull(1)}
	e.flap = s.MembraneFlap
	e.fl.soft = 1
	if s.BloodUL > 0 {
		e.behind.blood, e.behind.bleeding, e.behind.tear = s.BloodUL, true, e.par.GBleed
	}
	e.fl.ext += s.OutsideMMHg
	if back := s.AstrayUL + s.BloodUL; back > 0 {
		e.fl.u -= back
		e.x -= min(0.6*back, 0.85*e.par.VAC+e.x) // some of the chamber has given way
	}
	e.wake()
}
