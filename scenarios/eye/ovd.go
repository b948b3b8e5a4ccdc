package eye

// flowsIn gives what flows into the chamber other than by irrigation, and of that what
// leaves the posterior compartment, both uL/s. The injecting hand eases off as the eye
// firms up; without that the eye would be burst. While irrigation runs the eye is as firm
// as the bottle makes it and what is injected goes up the line: the hand then goes by
// that pressure and a little more.
func (e *Eye) flowsIn(h float64) (in, gapOut float64) {
	e.injectRate = 0
	if e.injecting > 0 {
		firm := e.injecting
		if e.fl.irrigating {
			firm = max(firm, e.fl.bottle+5)
		}
		e.injectRate = e.par.InjectRate * min(1, max(0, (firm-e.pa)/5))
		e.injectRate = min(e.injectRate, e.injectLeft/h)
		e.injectLeft -= e.injectRate * h
	}
	gapOut = e.gapFlow()
	if e.awake {
		if e.stray = e.goAstray(); e.stray > 0 {
			gapOut -= e.stray
		}
	}
	return e.injectRate + gapOut, gapOut
}

// viscoelastic moves its volume: in by the hand, out with what the port and the wound
// take. The square of the fill: injected at the far end it drives water out first. There
// is never more of it than the chamber has room for.
func (e *Eye) viscoelastic(h float64) {
	if !e.injectWater {
		e.vo += e.injectRate * h
	}
	if e.vo > 0 {
		e.vo = max(0, e.vo-h*e.phi*e.phi*(1-e.rho)*(max(0, e.qa)+max(0, e.ql)))
		e.vo = min(e.vo, e.room())
	}
}

// space is what the chamber and the emptied bag hold of fluid and gel, uL; room is
// what of it fluid can take.
func (e *Eye) space() float64 { return e.par.VAC + e.x + fullLensUL - e.lens }

func (e *Eye) room() float64 { return max(5, e.space()-e.vp) }
