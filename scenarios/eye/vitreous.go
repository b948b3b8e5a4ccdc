package eye

import "math"

// openArea is where vitreous can come through, mm2.
func (e *Eye) openArea() float64 {
	if e.rent {
		return e.gap + e.par.RentArea
	}
	return e.gap
}

// gapFlow is the net flow through gap and rent, uL/s: gel forward when the vitreous
// pushes and its face is breached, fluid backward when the chamber pushes.
func (e *Eye) gapFlow() float64 {
	area := e.openArea()
	if area <= 0 {
		return 0
	}
	p, push := e.par, e.pv-e.pa
	if !e.hyaloid {
		if push > e.breachP && area > 0.5 {
			e.hyaloid = true
			e.mark("hyaloid-breached", "")
		} else if push >= 0 {
			return 0
		}
	}
	phi := max(e.phi, e.gapOVD)
	if e.hyaloid {
		if drive := push + p.KSuction*e.qa*e.set.nearness - p.PYield - p.POVD*phi; drive > 0 {
			return p.GForward * area * drive / (1 + 20*phi)
		}
	}
	if push < 0 {
		return p.GBack * area * push / (1 + 20*phi)
	}
	return 0
}

// stirring is the gel, uL/s, that irrigation by the cutter itself stirs up through the
// opening while it is meant to be cut; irrigation by a separate cannula does not.
func (e *Eye) stirring() float64 {
	if e.set.tool != cutter || e.set.separate || !e.fl.irrigating {
		return 0
	}
	return e.par.CoaxialJet * e.openArea() * max(0, e.q) * (0.3 + e.set.nearness)
}

// vitreous moves gel in the chamber, the strand at the port and in the wound, and the
// traction dose.
func (e *Eye) vitreous(h float64) {
	if !e.hyaloid {
		return
	}
	s := &e.set
	if forward := e.fl.in - e.injectRate + e.stray; forward > 0 {
		e.vp += h * forward
	}
	if more := h * e.stirring(); more > 0 {
		e.vp += more
		e.fl.u += more
		e.x += more
	}
	if over := e.vp - max(0, e.space()); over > 0 {
		// More gel than there is space for has gone out through the wound.
		e.vp -= over
		e.vout += over
	}
	if s.drawing() && e.qa > 0 && e.vp > 0.3 {
		want := e.vp / (e.vp + 6) * (0.25 + 0.75*s.nearness)
		if s.tool == cutter {
			want *= 0.6
		}
		if want > e.strand {
			e.strand += (want - e.strand) * h / 0.8
		}
	}
	if !s.drawing() && e.strand > 0 {
		tau := 2.5
		if s.ventTo > 0 {
			tau = 0.5 // fluid pushed back out of the port frees it
		}
		e.strand *= 1 - h/tau
	}
	if s.drawing() && e.qa > 0 {
		e.pullStrand(h)
	}
	if s.wound == woundOpen && e.vp > 0.5 && e.pa > 0 {
		e.wound = min(1, e.wound+h*e.ql/40*e.vp/(e.vp+5))
	}
	if e.vp > 0.3 && !e.watch.came {
		e.watch.came = true
		e.mark("vitreous-came", "")
	}
}

// pullStrand is what suction does to an engaged strand: a running cutter removes gel
// and frees the strand; an uncut port draws a little out and more after it.
func (e *Eye) pullStrand(h float64) {
	vac := max(0, -e.p)
	if e.set.cutting() {
		r := min(e.vp, h*0.12*e.qa*e.vp/(e.vp+4)*min(1, e.set.cuts/3000))
		e.vp -= r
		e.vcut += r
		e.traction += h * max(0, cutterForce(vac, e.set.cuts)*e.strand-0.08)
		e.strand *= 1 - h
		return
	}
	e.traction += h * max(0, uncutForce(vac)*e.strand-0.08)
	if e.strand > 0 && e.vp > 0 {
		r := min(e.vp, h*0.01*e.qa*e.strand)
		e.vp += 0.2 * r
		e.vout += r
		e.fl.u += 1.2 * r
		e.x += 1.2 * r
	}
}

// uncutForce is the pull on a fully engaged strand at an uncut port, mN, at a vacuum in
// mmHg. cutterForce is that of a cutter; slopes after Br J Ophthalmol 2010;94:1226.
func uncutForce(vac float64) float64 { return 3 * (0.02 + 0.079*vac/100) }

func cutterForce(vac, cuts float64) float64 {
	return math.Max(0.02, 0.02+0.079*vac/100-0.0251*(cuts-500)/500)
}

// drag is what taking an engaged port away does.
func (e *Eye) drag() {
	if e.strand > 0.02 {
		e.traction += 3 * e.strand
		more := 10 * e.strand
		e.vp += more
		e.fl.u += more
		e.x += more
	}
	e.strand = 0
}

// pushBack lets a share of the presented gel go back behind the bag, as far as the
// chamber stays formed without it.
func (e *Eye) pushBack(share float64) {
	d := min(share*e.vp, e.spare())
	e.vp -= d
	e.fl.u -= d
	e.x -= d
}

// spare is the volume that can leave the chamber at once before it is down to half its
// depth, uL.
func (e *Eye) spare() float64 { return max(0, e.x+0.75*e.par.VAC) }
