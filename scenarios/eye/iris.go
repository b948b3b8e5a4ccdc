package eye

// iris is the pupil and the iris around it. A firm iris in a wide pupil does nothing.
type iris struct {
	pupil, widest float64 // mm
	floppy        float64 // 0 firm .. 1
	billow        float64 // how far it waves in the flow, 0..1.5
	prolapse      float64 // in the wound, 0..1
	damage        float64 // dose of rubbing and drawing
	rate          float64 // of the pupil, mm/s
	caught        bool    // drawn into the port
	held          bool    // by hooks or an expander
	dilated       bool    // by a drug in the chamber, which also gives it tone
	constricted   bool
	prone         float64 // to lie on the capsule all round when the chamber is deep, 0..1
	sealing       float64 // s on the way to it
	blocked       bool    // it does: reverse pupil block
}

const (
	smallestPupil = 2.0 // mm
	heldPupil     = 6.0 // mm, what hooks or an expander hold open at least
)

// slack is how much of its floppiness is left free; hold and tone are the shares that
// hooks and the drug take away.
func (i *iris) slack(hold, tone float64) float64 {
	s := i.floppy
	if i.held {
		s *= 1 - hold
	}
	if i.dilated {
		s *= 1 - tone
	}
	return s
}

// moveIris lets flow wave the iris, pressure press it into the wound, suction draw it,
// and the pupil follow.
func (e *Eye) moveIris(h float64) {
	i, p := &e.iris, e.par
	want := i.slack(0.8, 0.5) * (1 - 0.5*e.phi) * min(1.5, max(0, e.q)/p.BillowFlow)
	i.billow += (want - i.billow) * min(1, h/0.3)
	e.drawIris(h)
	if e.set.wound != woundClosed {
		push := max(0, e.pa-15) / 40 * (1 - 0.5*e.phi)
		i.prolapse += h * p.ProlapseRate * (i.slack(0.85, 0.4) + e.behind.press()) * push * (1 - i.prolapse)
	}
	was := i.pupil
	shrink := p.PupilRate*i.billow + 0.25*p.PupilRate*i.prolapse
	if i.caught {
		shrink += 2 * p.PupilRate
	}
	i.pupil -= h * shrink * (i.pupil - smallestPupil)
	switch {
	case i.constricted:
		i.pupil += (3 - i.pupil) * min(1, h/15)
	case i.dilated && i.pupil < i.widest:
		i.pupil += (i.widest - i.pupil) * min(1, h/20)
	}
	if i.held {
		i.pupil = max(i.pupil, heldPupil)
	}
	i.rate = (i.pupil - was) / h
	e.sealIris(h)
}

// drawIris: suction takes hold of an edge that comes near the port, and lets go with
// suction. What is caught closes most of the port.
func (e *Eye) drawIris(h float64) {
	i, vac := &e.iris, max(0, -e.p)
	if !e.set.drawing() {
		i.caught = false
		return
	}
	free := i.pupil/2 - 3*e.set.nearness - 1.5*i.billow // mm between port and edge
	if free < e.par.IrisReach && (e.qa > 150 || vac > 60) {
		i.caught = true
	}
	if i.caught {
		i.damage += h * vac / 300
	}
}

// sealIris: in an eye prone to it, an iris bowed back far enough lies on the rim of the
// capsule all round. Fluid then presses on iris and lens together, which go further back.
func (e *Eye) sealIris(h float64) {
	i := &e.iris
	if i.prone <= 0 || i.held || i.blocked {
		return
	}
	if e.set.irrigating() && e.depth > e.par.BlockDepth {
		i.sealing += h * i.prone
	} else {
		i.sealing = 0
	}
	if i.sealing > 0.5 {
		e.setBlock(true)
		e.mark("pupil-blocked", "")
	}
}

func (e *Eye) setBlock(on bool) {
	e.iris.blocked, e.iris.sealing = on, 0
	e.fl.soft = 1
	if on {
		e.fl.soft = e.par.BlockSoft
	}
	e.fl.setDiaphragm(e.par, e.bag.diaphragm())
	e.calm = 0
	e.settle()
}

// scrape is what an instrument does to an iris that lies in the wound it goes through.
func (e *Eye) scrape() { e.iris.damage += 0.5 * e.iris.prolapse }
