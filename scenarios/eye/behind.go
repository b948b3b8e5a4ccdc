package eye

import "math"

// behind is what makes an eye hard from behind: fluid gone astray, blood under the
// choroid, pressure of lids, speculum and drape. A quiet ordinary eye has none of it.
type behind struct {
	leaky    float64 // how easily fluid finds its way behind an uninjured bag, 0..1
	astray   float64 // uL of it there now
	tapLeft  float64 // uL still to be drawn by the pars plana
	osmotic  float64 // uL a drip still draws out of the vitreous
	drip     bool
	outside  float64 // mmHg pressing besides a quiet patient's lids
	fragile  float64 // vessels of the choroid, 0..1
	hazard   float64
	at       float64 // hazard at which they give way
	bleeding bool
	blood    float64 // uL
	tear     float64 // conductance of the leak, uL/(s mmHg)
	coughing bool
	calmed   float64 // 0 none, 0.4 by words, 0.7 by sedation
}

// press is how hard what is behind pushes the iris to an open wound, 0..1.
func (b *behind) press() float64 { return min(1, (b.blood+b.astray)/80) }

// artery and vein are the pressures in the vessels of the choroid, mmHg.
func (e *Eye) artery() float64 { return e.vessel(e.par.PArtery, 20) }
func (e *Eye) vein() float64   { return e.vessel(e.par.PVein, 10) }

func (e *Eye) vessel(p, ease float64) float64 {
	if e.behind.coughing {
		p += 25 * (1 - e.behind.calmed)
	}
	return p - ease*e.behind.calmed
}

// goAstray is the flow of irrigation to behind the bag, uL/s: the difference of pressure
// and the jet drive it, as through a valve; viscoelastic at the edge keeps it out.
func (e *Eye) goAstray() float64 {
	if e.behind.leaky <= 0 || !e.fl.irrigating {
		return 0
	}
	drive := e.pa - e.pv + e.par.JetP*max(0, e.q)*(0.4+e.set.nearness)
	return e.par.GAstray * e.behind.leaky * max(0, drive) / (1 + 10*e.phi)
}

// pressFromBehind moves stray fluid and blood, and with them the pressure of the eye.
func (e *Eye) pressFromBehind(h float64) {
	b, p := &e.behind, e.par
	b.astray += h * e.stray
	tau := p.Drain
	if b.drip {
		tau = p.DrainDrip
	}
	gone := b.astray * min(1, h/tau)
	b.astray -= gone
	e.fl.u += gone
	if b.osmotic > 0 {
		d := min(b.osmotic, 0.2*h)
		b.osmotic -= d
		e.fl.u += d
	}
	if b.tapLeft > 0 && e.pv > 7 {
		d := min(b.tapLeft, tapFlow*h)
		b.tapLeft -= d
		e.fl.u += d
	}
	e.bleed(h)
}

// bleed adds up the danger while the eye is softer than its veins, and lets a torn vessel
// run. A soft eye tears it further; a firm one holds it until it clots.
func (e *Eye) bleed(h float64) {
	b, p := &e.behind, e.par
	b.hazard += h * p.BleedHazard * b.fragile * max(0, e.vein()-e.pv-10) / 10
	if !b.bleeding && b.hazard > b.at {
		e.startBleeding()
	}
	if !b.bleeding {
		return
	}
	flow := b.tear * max(0, e.artery()-e.pv)
	b.blood += h * flow
	e.fl.u -= h * flow
	switch {
	case b.coughing:
		b.tear = min(0.4, b.tear*math.Exp(h/4))
	case e.pv < 25:
		b.tear = min(0.4, b.tear*math.Exp(h/p.BleedGrow))
	case e.pv > 40:
		b.tear *= math.Exp(-h / p.BleedClot)
	}
	if b.tear < 0.005 {
		b.bleeding = false
		b.at = b.hazard + 1
		e.mark("bleeding-stopped", "")
	}
}

func (e *Eye) startBleeding() {
	b := &e.behind
	b.bleeding, b.tear, b.at = true, e.par.GBleed, math.Inf(1)
	e.mark("choroid-bleeds", "")
	if b.calmed < 0.5 {
		e.watch.onFor(e, fPain, 0, 5)
	}
}

// loosen frees the eye from what presses on it.
func (e *Eye) loosen() {
	e.pass(3)
	e.behind.outside *= 0.15
	e.outside(e.par.PExt)
	e.mark("loosened", "")
}

// feel says how firm the eye is to a finger.
func (e *Eye) feel() {
	e.pass(1)
	switch p := (e.pa + e.pv) / 2; {
	case p < 10:
		e.mark("felt-soft", "the eye gives")
	case p < 35:
		e.mark("felt-normal", "the eye is as it should be")
	default:
		e.mark("felt-hard", "the eye is hard")
	}
}

// lookBehind looks at the red reflex and past the lens.
func (e *Eye) lookBehind() {
	e.pass(4)
	if e.behind.blood > 5 {
		if !e.watch.shown[fMound] {
			e.watch.onFor(e, fMound, 0, 3)
		}
		e.mark("reflex-dark", "a dark mound rises")
		return
	}
	e.mark("reflex-clear", "the reflex is even, nothing rises behind")
}

// drip gives what draws fluid out of the vitreous.
func (e *Eye) giveDrip() {
	if !e.behind.drip {
		e.behind.drip, e.behind.osmotic = true, e.par.Osmotic
	}
	e.wake()
	e.pass(20)
	e.mark("drip-given", "")
}

// tapFlow is what is drawn by the pars plana while it is, uL/s.
const tapFlow = 30

// tap draws fluid from behind by the pars plana until the amount is out or the eye is soft.
// What is not stray fluid is gel. In an eye that has bled, the fall of pressure tears the
// vessel again.
func (e *Eye) tap(with string, ul float64) {
	e.pass(5)
	e.behind.tapLeft = ul
	e.wake()
	e.calm = 0
	e.advance(int64(nearest(ul/tapFlow/tick)), nil)
	drawn := ul - e.behind.tapLeft
	e.behind.tapLeft = 0
	stray := min(e.behind.astray, drawn)
	e.behind.astray -= stray
	gel := drawn - stray
	if with == "needle" {
		e.vout += gel
		e.traction += 1 + 0.02*gel
	} else {
		e.vcut += gel
		e.traction += 0.002 * gel
	}
	if b := &e.behind; b.blood > 0 && !b.bleeding && e.pv < 25 {
		e.startBleeding()
	}
	e.pass(3)
	e.checkBag()
	e.mark("tapped", with)
}
