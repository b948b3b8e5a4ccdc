package eye

import "math"

// clearance is the distance from tip to posterior capsule, mm; it shrinks with the
// chamber and once the lens matter before it is gone.
func (e *Eye) clearance() float64 {
	c := 2.0
	switch {
	case e.lens < 5:
		c = 1
	case e.lens < 60:
		c = 1.5
	}
	return c - (3.2 - e.depth)
}

// capsule adds up the hazard of tearing the posterior capsule; it tears when the
// threshold drawn at birth is passed.
func (e *Eye) capsule(h float64) {
	if e.set.tool == noTool || e.rent {
		return
	}
	c := e.clearance()
	if c >= 1.2 {
		return
	}
	act := 0.5 * max(0, -e.p) / 400
	if e.soundOn() {
		act++
	}
	if act == 0 {
		return
	}
	weak := 0.5
	if e.bag.ring {
		weak = 0.2
	}
	hazard := h * 1.5 * math.Exp(-max(c, -0.5)/0.2) * act * (1 + weak*e.bag.missing())
	if e.iris.pupil < 5 {
		hazard *= 1 + (5-e.iris.pupil)/2 // less of the edge is seen
	}
	e.strainCapsule(hazard)
}

// strainCapsule adds to the hazard of a tear.
func (e *Eye) strainCapsule(hazard float64) {
	e.capHazard += hazard
	if e.capHazard > e.rentAt && !e.rent {
		e.tear()
	}
}

func (e *Eye) tear() {
	e.rent = true
	e.iris.pupil += 0.7
	e.mark("capsule-rent", "")
	e.watch.on(e, fDeepening, 0)
}
