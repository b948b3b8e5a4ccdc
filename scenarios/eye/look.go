package eye

// look evaluates every finding that follows from the state. It runs every 50 ms of eye
// time. The catalogue says the thresholds in words.
func (w *watch) look(e *Eye) {
	for id, t := range w.until {
		if t > 0 && e.Time() >= t {
			w.off(e, id)
		}
	}
	w.lookChamber(e)
	w.lookVitreous(e)
	w.lookBag(e)
	w.lookTip(e)
	if e.awake || e.burn > 0 || w.beyond {
		w.lookBeyond(e)
	}
}

func (w *watch) lookChamber(e *Eye) {
	pedal, depth := e.set.pedal, e.depth
	drawing, irrigating := e.set.drawing(), e.set.irrigating()
	swing, push, fall := w.swings()
	w.set(e, fShallow, depth < 2.5, depth > 2.8)
	w.set(e, fFlat, depth < 1.2, depth > 1.6)
	w.set(e, fDeep, depth > 4.1, depth < 4.0)
	w.set(e, fBounce, drawing && swing > 0.35, swing < 0.15)
	edge := push * abs(e.bag.w1[e.bag.softest])
	w.setAt(e, fBounceSide, edge > 1, edge < 0.5, e.bag.hour(float64(e.bag.softest)))
	if fall > 0.3 {
		w.onFor(e, fPupilSnap, 0, 1)
	}
	w.set(e, fHolds, pedal == 0 && e.phi > 0.6 && depth > 2.8, e.phi < 0.4 || irrigating)
	if e.phi > 0.6 {
		w.wasFull = true
	}
	w.set(e, fWashing, w.wasFull && e.phi < 0.3, e.phi > 0.5 || e.phi < 0.02)
	if w.shown[fWashing] {
		w.wasFull = false
	}
	w.set(e, fHard, e.pa > 65, e.pa < 55)
	w.set(e, fSoft, e.pa < 6, e.pa > 10)
	w.set(e, fShallowIrrigating, irrigating && e.pa > 25 && depth < 3, depth > 3.2)
	loss := e.endothelialLoss()
	w.set(e, fHazy, loss > 25, false)
	w.set(e, fWarm, e.woundTemp > 42, e.woundTemp < 38)
	w.set(e, fWhitens, e.woundTemp > 60, false)
}

func (w *watch) lookVitreous(e *Eye) {
	drawing := e.set.drawing()
	w.set(e, fStrandPort, drawing && e.strand > 0.25, e.strand < 0.15)
	seen := 4.0
	if e.set.stained {
		seen = 0.3
	}
	w.set(e, fGel, e.vp > seen, e.vp < seen/2)
	peak := 0.1
	if e.iris.constricted {
		peak = 0.04 // a narrow pupil shows a thinner strand
	}
	w.set(e, fPeaked, e.wound > peak, e.wound < peak/2)
	switch {
	case e.strand > 0.25:
		w.strandHigh = true
	case e.strand < 0.1:
		if w.strandHigh && e.set.pedal <= 1 && e.set.tool != noTool {
			w.onFor(e, fSprings, 0, 1)
		}
		w.strandHigh = false
	}
}

func (w *watch) lookBag(e *Eye) {
	off := e.offset()
	_, span := 0.0, 0.0
	if off > 0.3 && !w.edgeSeen {
		_, span = e.bag.longestGap()
	}
	more := 12 * float64(e.bag.broken-w.brokenReported) / float64(e.bag.n)
	edge := span >= 2 && off > 0.3 && !w.edgeSeen
	if (more > 0.4 || edge) && !w.shown[fGapWidens] && e.Time() >= w.quiet[fGapWidens] {
		w.onFor(e, fGapWidens, e.weakHour(), 3)
		w.brokenReported = e.bag.broken
		w.edgeSeen = w.edgeSeen || edge
	}
	tilt, side := e.bag.tilt(e.strainingP())
	w.setAt(e, fTilts, !e.lost && tilt > 5, tilt < 3 || e.lost, side)
	w.lookWobble(e)
	w.setAt(e, fOffCentre, e.bag.implant && off > 0.4, off < 0.35, e.bag.direction(e.bag.offX, e.bag.offY))
}

// lookWobble grades the wobble at 1.6, 2.6 and 5; a worse grade is told again.
func (w *watch) lookWobble(e *Eye) {
	grade := 0
	for _, limit := range [...]float64{1.6, 2.6, 5} {
		if e.bag.wobble > limit {
			grade++
		}
	}
	if e.lost {
		grade = 0
	}
	switch {
	case grade > w.wobbleGrade:
		if w.shown[fWobbles] && e.Time() >= w.quiet[fWobbles] {
			w.off(e, fWobbles)
		}
		if !w.shown[fWobbles] && e.Time() >= w.quiet[fWobbles] {
			w.wobbleGrade = grade
			w.on(e, fWobbles, 0)
		}
	case w.shown[fWobbles] && (e.bag.wobble < 1.4 || e.lost):
		w.off(e, fWobbles)
		w.wobbleGrade = 0
	case grade < w.wobbleGrade && grade > 0:
		w.wobbleGrade = grade
	}
}

func (w *watch) lookTip(e *Eye) {
	now := e.Time()
	c := e.clearance()
	w.set(e, fDrawnUp, e.set.tool != noTool && c < 0.4 && !e.rent, c > 0.8 || e.set.tool == noTool || e.rent)
	w.lookFollow(e, now)
	vac := max(0, -e.p)
	if e.set.ultrasound() && e.soundOn() && e.occl > 0.9 && vac < 0.3*e.fl.limit {
		if w.chatterSince < 0 {
			w.chatterSince = now
		}
	} else {
		w.chatterSince = -1
	}
	w.set(e, fChatter, w.chatterSince >= 0 && now-w.chatterSince >= 1, vac > 0.5*e.fl.limit || !e.set.ultrasound())
}

// lookFollow notices that a loose piece has come no nearer for 3 s of aspiration.
func (w *watch) lookFollow(e *Eye, now float64) {
	if !e.set.drawing() || e.set.tool != phacoTip || e.count == 0 {
		w.approachSince = now
		w.off(e, fNoFollow)
		return
	}
	f := &e.pieces[0]
	grows := f.occluding || f.approach > w.approach+1e-9
	w.approach = f.approach
	if grows {
		w.approachSince = now
	}
	w.set(e, fNoFollow, now-w.approachSince >= 3, grows)
}

func abs(x float64) float64 { return max(x, -x) }
