package eye

// expandPupil holds the pupil open with hooks or an expander, or stretches it. A floppy
// iris is elastic: stretched, it comes back and is torn a little.
func (e *Eye) expandPupil(with string) {
	i := &e.iris
	e.pass(10)
	if with == "stretch" {
		wider := max(i.pupil, 6)
		i.pupil += (wider - i.pupil) * (1 - i.floppy)
		i.damage += 0.3 + 0.7*i.floppy
	} else {
		i.held = true
		i.pupil = max(i.pupil, heldPupil)
		if i.blocked {
			e.setBlock(false)
		}
	}
	e.wake()
	e.mark("pupil-expanded", with)
}

// pupilDrug puts a drug into the chamber.
func (e *Eye) pupilDrug(kind string) {
	i := &e.iris
	i.dilated, i.constricted = kind == "dilating", kind == "constricting"
	if i.dilated {
		i.widest = max(i.widest, min(7, i.pupil+2)) // a small pupil widens by some 2 mm
	}
	e.wake()
	e.pass(5)
	e.mark("pupil-"+kind, "")
}

// reposit brings an iris out of the wound. It stays back only where the pressure that
// drove it out is gone; pushed back through the same wound it is rubbed.
func (e *Eye) reposit(from string) {
	i := &e.iris
	e.pass(3)
	back := 0.9
	if e.pa > 25 {
		back = 0.2
	}
	if from == "same-wound" {
		back *= 0.5
		i.damage += 0.4 * i.prolapse
	}
	i.prolapse *= 1 - back
	e.mark("iris-reposited", from)
}

// liftIris lifts the iris off the capsule with a second instrument, so that pressure is
// the same before and behind it.
func (e *Eye) liftIris() {
	e.pass(1.5)
	if e.iris.blocked {
		e.setBlock(false)
	}
	e.mark("iris-lifted", "")
	e.checkBag()
}
