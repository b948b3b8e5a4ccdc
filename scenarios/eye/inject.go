package eye

import (
	"math"
	"strconv"
)

// ovd injects viscoelastic until the amount is in, the eye is as firm as the hand
// allows, or time is up.
func (e *Eye) ovd(a Action) {
	amount, kind := a.num("up_to"), e.par.Dispersive
	if a.word("kind") == "cohesive" {
		kind = e.par.Cohesive
	}
	mainPort := a.word("port") == "main"
	if mainPort {
		e.change(func(s *settings) { s.wound = woundOpen })
	}
	had := e.vo
	in := e.inject(amount, a.num("stop"), false)
	if had+in > 0 {
		e.rho = (had*e.rho + in*kind) / (had + in)
	}
	share := 0.7 * e.phi
	if a.word("where") == "gap" {
		// Put at the gap it stands where the gel is, whatever the rest of the chamber holds.
		share = 0.7 * min(1, e.phi+in/80)
		e.gapOVD = min(1, e.gapOVD+in*kind/50)
	}
	e.pushBack(share)
	e.underViscoelastic(mainPort)
	if mainPort {
		e.change(func(s *settings) { s.wound = woundClosed })
	}
	e.settle()
	e.checkBag()
	e.mark("viscoelastic", strconv.FormatFloat(math.Round(in), 'f', 0, 64)+" uL")
}

// inject runs the injecting hand and returns how much went in, uL. Fluid escapes beside
// the cannula, as beside an instrument; else nothing could be exchanged for it.
func (e *Eye) inject(amount, stop float64, water bool) float64 {
	if e.set.wound == woundClosed {
		e.change(func(s *settings) { s.wound = woundFilled })
		defer e.change(func(s *settings) { s.wound = woundClosed })
	}
	e.injecting, e.injectLeft, e.injectWater = stop, amount, water
	e.calm = 0
	firm := 0
	e.advance(int64(nearest((amount/e.par.InjectRate+8)/tick)), func() bool {
		if e.injectRate < 0.5 {
			firm++
		} else {
			firm = 0
		}
		return firm >= 25 || e.injectLeft <= 1e-9
	})
	e.injecting, e.injectRate, e.injectWater = 0, 0, false
	return amount - e.injectLeft
}

// hydrodissect frees the nucleus with 20 uL of fluid behind it.
// Where the back of the capsule is weak a wave between cortex and capsule may burst it; one
// within the lens hardly can, and frees less.
func (e *Eye) hydrodissect(within bool) {
	e.inject(20, 45, true)
	free, strain := 0.3, 1.2
	if within {
		free, strain = 0.6, 0.1
	}
	e.adhesion *= free
	if e.spec.PolarWeak > 0 && !e.rent {
		if e.strainCapsule(strain * e.spec.PolarWeak); e.rent {
			e.watch.onFor(e, fPupilSnap, 0, 1)
		}
	}
	e.pass(1)
	e.checkBag()
	e.mark("hydrodissected", "")
}

func (e *Eye) removeOVD(seconds float64) {
	was := e.set.pedal
	e.change(func(s *settings) { s.pedal = 2 })
	e.pass(seconds)
	e.change(func(s *settings) { s.pedal = was })
	e.mark("ovd-washed-out", "")
}
