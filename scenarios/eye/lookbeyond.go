package eye

// lookBeyond evaluates what iris, membrane, implant and the back of the eye show.
func (w *watch) lookBeyond(e *Eye) {
	i := &e.iris
	w.set(e, fPupilSmall, i.pupil < 5, i.pupil > 5.5)
	w.set(e, fPupilShrinks, i.rate < -0.03 && !i.constricted, i.rate > -0.01 || i.constricted)
	w.set(e, fBillows, i.billow > 0.35, i.billow < 0.2)
	w.set(e, fProlapse, i.prolapse > 0.15, i.prolapse < 0.08)
	w.set(e, fIrisAtPort, i.caught, !i.caught)
	w.set(e, fIrisOnCapsule, i.blocked, !i.blocked)
	w.set(e, fIrisForward, e.air > 0.9, e.air < 0.8)
	blood := e.behind.blood
	if blood > 40 {
		w.until[fMound] = 0 // it no longer takes a look to see it
	}
	w.set(e, fMound, blood > 40, blood < 20 && w.until[fMound] == 0)
	w.set(e, fFlap, e.flap > 0.02, e.flap < 0.01)
	w.set(e, fBlurs, e.flap > 0.3, e.flap < 0.2)
	before := e.outsideBag()
	w.set(e, fImplantSlips, before && e.imp.slip > 0.4, e.imp.slip < 0.3 || !before)
	w.set(e, fGapes, e.gape() > 0.2, e.gape() < 0.15)
	w.beyond = false
	for id := fPupilSmall; id < numFindings; id++ {
		w.beyond = w.beyond || w.shown[id]
	}
}
