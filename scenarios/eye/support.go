package eye

import (
	"math"
	"strconv"
)

// tug puts a tool on the bag now: loads, failures, and what is seen of it. The tool
// stays until release. It returns the highest load over strength of the moment.
func (e *Eye) tug(t *tool) float64 {
	e.bag.strain(nil, e.strainingP())
	broke := e.bag.strain(t, e.strainingP())
	peak, worst := e.bag.peak, e.bag.worst
	e.peak = max(e.peak, peak)
	e.noteBroken(broke)
	ws := e.bag.ws
	travel := math.Hypot(ws.u[worst]-e.bag.u[worst], ws.v[worst]-e.bag.v[worst])
	if peak > 0.5 || travel > 0.4 {
		e.watch.on(e, fFolds, e.bag.hour(float64(worst)))
	}
	e.checkBag()
	return peak
}

// release ends what tug began.
func (e *Eye) release() { e.watch.off(e, fFolds) }

// checkBag puts the smallest and the largest pressure difference since the last check
// on the bag and carries its new state into the fluid. While nothing in the bag has
// changed it costs a microsecond: the answer is linear in the pressure.
func (e *Eye) checkBag() {
	e.nextBag = e.ticks + bagTicks
	broke := 0
	for _, dP := range [2]float64{e.dPLow, e.dPHigh} {
		broke += e.bag.strain(nil, dP)
		e.peak = max(e.peak, e.bag.peak)
	}
	e.noteBroken(broke)
	e.fl.setDiaphragm(e.par, e.bag.diaphragm())
	e.settle()
	dP := e.strainingP()
	e.dPLow, e.dPHigh = dP, dP
	e.gap = e.bag.gapArea(dP)
	if !e.lost && e.bag.missing() >= e.par.SupportLostHours {
		e.lost = true
		e.mark("support-lost", "")
		e.watch.on(e, fDropsBack, 0)
	}
	if e.lost {
		e.bag.wobble = 99
	} else {
		e.bag.wobbleIndex()
	}
	e.spanAll()
}

// strainingP is the difference of pressure that the bag carries, mmHg, chamber over vitreous.
// Where the eye is pressed from behind until the chamber is flat, the cornea carries the rest.
// In a blocked pupil fluid presses on the iris too, and that on the lens.
func (e *Eye) strainingP() float64 {
	d := e.pa - e.pv
	if e.awake && e.x < e.fl.flat {
		d = max(d, e.x*e.fl.invCd)
	}
	if e.iris.blocked {
		d *= e.par.BlockLoad
	}
	return d
}

func (e *Eye) noteBroken(segments int) {
	if segments > 0 {
		hours := 12 * float64(segments) / float64(e.bag.n)
		e.mark("zonules-broke", strconv.FormatFloat(hours, 'f', 1, 64)+" clock hours")
	}
}

// weakHour is the clock hour of the middle of the longest gap; without a gap, where
// the eye was specified to be weak.
func (e *Eye) weakHour() float64 {
	if e.bag.broken == 0 {
		return e.spec.DialysisAt
	}
	middle, _ := e.bag.longestGap()
	return e.bag.hour(middle)
}

// offset of the bag, mm; it means nothing once support is lost.
func (e *Eye) offset() float64 {
	if e.lost {
		return 0
	}
	return math.Hypot(e.bag.offX, e.bag.offY)
}

// supported is the verdict of adequate support.
func (e *Eye) supported() bool {
	return !e.lost && !e.rent && e.bag.wobble < 2.6 && e.offset() < 0.45
}
