package eye

// enter brings an instrument in: what hangs in the wound is pulled on, and irrigation
// runs for 1.5 s.
func (e *Eye) enter(a Action) {
	kind := noTool
	for i, name := range instrumentNames {
		if name == a.Word["instrument"] {
			kind = instrument(i)
		}
	}
	separate := kind == cutter
	if w, ok := a.Word["irrigation"]; ok {
		separate = w == "separate"
	}
	e.traction += 1.5 * e.wound
	newPort := a.word("port") == "new"
	if !newPort {
		e.scrape()
	}
	e.peel(a.word("way") == "forced", newPort)
	e.p = 0
	e.change(func(s *settings) {
		s.tool, s.separate, s.sealed, s.sutured, s.pressed, s.wound, s.pedal, s.nearness = kind, separate, false, false, false, woundFilled, 1, 0
	})
	e.mark("entered", instrumentNames[kind])
	e.pass(1.5)
}

// withdraw takes it out: an engaged strand comes along; the wound stands open 2.5 s,
// then closes itself.
func (e *Eye) withdraw() {
	name := instrumentNames[e.set.tool]
	e.drag()
	e.scrape()
	e.watch.strandHigh = false
	e.freePieces()
	e.change(func(s *settings) { s.tool, s.separate, s.wound, s.pedal = noTool, false, woundOpen, 0 })
	e.p, e.occl = 0, 0
	e.settle()
	e.mark("withdrew", name)
	e.pass(2.5)
	e.change(func(s *settings) { s.wound = woundClosed })
	e.checkBag()
}

// freePieces lets go of what the tip holds.
func (e *Eye) freePieces() {
	for i := range e.count {
		e.pieces[i].occluding, e.pieces[i].approach = false, 0
	}
}

func (e *Eye) place(a Action) {
	e.change(func(s *settings) {
		s.nearness = a.Num["nearness"]
		s.tipHour = e.hourOr(a, s.tipHour)
	})
	e.mark("placed", "")
	e.pass(0.5)
}

func (e *Eye) clamp(on bool) {
	e.change(func(s *settings) { s.clamped = on })
	if on {
		e.mark("clamped", "")
	} else {
		e.mark("unclamped", "")
	}
	e.pass(0.5)
}

// reflux vents the line to a pressure above the eye's with the pedal at 1.
func (e *Eye) reflux(pressure, seconds float64) {
	e.change(func(s *settings) { s.pedal, s.ventTo = min(s.pedal, 1), pressure })
	e.freePieces()
	e.pass(seconds)
	e.change(func(s *settings) { s.ventTo = 0 })
	e.mark("refluxed", "")
}
