package eye

import "strconv"

// nucleus lets the first loose piece come to the tip, close it and be emulsified.
func (e *Eye) nucleus(h float64) {
	occluding := false
	if e.count > 0 && e.set.tool == phacoTip {
		f := &e.pieces[0]
		switch {
		case e.set.pedal < 2:
			if f.occluding {
				f.occluding, f.approach = false, 0.6
			}
		case !f.occluding:
			e.follow(f, h)
		default:
			e.emulsify(f, h)
		}
		occluding = e.count > 0 && e.pieces[0].occluding
	}
	share := e.closeShort
	if h > tick {
		share = e.closeLong
	}
	if occluding {
		e.occl += (1 - e.occl) * share
	} else if e.occl > 0 {
		if e.occl *= 1 - share; e.occl < 1e-12 {
			e.occl = 0
		}
	}
}

// follow brings the piece nearer while the flow carries it.
func (e *Eye) follow(f *piece, h float64) {
	flow := e.qa / 500 * (1 - e.strand) * (1 - e.strand)
	if flow > 0.25 {
		f.approach += h * 0.8 * (flow - 0.25)
	} else {
		f.approach = max(0, f.approach-0.3*h)
	}
	if f.approach >= 1 {
		f.approach, f.occluding = 1, true
		f.bite = min(f.vol, 6*e.frags.weibull(3))
	}
}

// emulsify eats the bite while ultrasound runs on a held piece.
func (e *Eye) emulsify(f *piece, h float64) {
	vac := max(0, -e.p)
	if !e.soundOn() || vac <= 0.3*e.fl.limit {
		return
	}
	d := min(h*e.emulsifyRate(vac), f.bite)
	f.bite -= d
	f.vol -= d
	e.lens = max(0, e.lens-d)
	e.x -= d
	e.p += d / e.par.Ct
	if f.bite > 0 {
		return
	}
	f.occluding, f.approach = false, 0.7
	if !f.captured {
		f.captured = true
		e.tug(&tool{onRim: true, node: e.bag.node(f.hour), spread: 3, fr: -e.par.Capture * e.hold(vac) * e.handFactor(), stop: 2})
		e.release() // the tug is over when the piece has come free
	}
	if f.vol < 0.3 {
		e.lens = max(0, e.lens-f.vol)
		copy(e.pieces[:], e.pieces[1:e.count])
		e.count--
		e.taken++
		e.couple()
		e.mark("fragment-taken", piecesText(e.count))
	}
}

// emulsifyRate is in uL/s.
func (e *Eye) emulsifyRate(vac float64) float64 {
	return e.set.power * e.mode() / e.hardness * vac / (vac + 25)
}

// hold is the force of an occluded port at a vacuum, mN.
func (e *Eye) hold(vac float64) float64 { return vac * e.par.PortArea * mmHgInMN }

// soundOn reports whether ultrasound runs now, pedal discipline included.
func (e *Eye) soundOn() bool {
	return e.set.ultrasound() && (!e.set.occludedOnly || e.occl > 0.5)
}

// couple takes the lens matter left into the stiffness between core and bag.
func (e *Eye) couple() {
	e.bag.lens = e.lens / fullLensUL
	e.bag.changed()
	e.checkBag()
}

func piecesText(n int) string {
	switch n {
	case 0:
		return "none left"
	case 1:
		return "one left"
	}
	return strconv.Itoa(n) + " left"
}
