package eye

// refuses says why an action cannot be done to this eye now.
func (e *Eye) refuses(a Action) error {
	no := func(arg, reason, instead string) error { return &Refusal{a.Verb, arg, reason, instead} }
	s := &e.set
	if e.lost && touchesBag[a.Verb] || e.lost && a.Verb == "implant" && a.Word["plane"] != "none" {
		return no("", "the bag has lost its support", "close the eye and refer")
	}
	switch a.Verb {
	case "enter":
		if s.tool != noTool {
			return no("instrument", "the "+instrumentNames[s.tool]+" is in the eye already", "withdraw it first")
		}
	case "withdraw", "place":
		if s.tool == noTool {
			return no("", "no instrument is in the eye", "enter one first")
		}
	case "reflux":
		if s.tool == noTool {
			return no("", "no instrument is in the eye", "enter one first")
		}
	case "ovd":
		if a.word("port") == "main" && s.tool != noTool {
			return no("port", "the "+instrumentNames[s.tool]+" fills the main wound", "use the side port, or withdraw first")
		}
	case "remove-ovd":
		if s.tool != phacoTip && s.tool != aspirationTip {
			return no("", "no aspirating tip is in the eye", "enter the aspiration tip first")
		}
	case "chop", "rotate", "sculpt", "take", "hydrodissect":
		return e.refusesLensWork(a, no)
	case "strip":
		if s.tool != aspirationTip {
			return no("", "the aspiration tip is not in the eye", "enter the aspiration tip first")
		}
		if !e.cortex[int(a.Num["sector"])%12] {
			return no("sector", "no cortex is left there", "choose another sector")
		}
	case "cut":
		if s.tool != cutter {
			return no("", "the cutter is not in the eye", "enter the cutter first")
		}
	default:
		return e.refusesRest(a, no)
	}
	return nil
}

var touchesBag = map[string]bool{"segment": true, "chop": true, "rotate": true, "sculpt": true, "hydrodissect": true, "strip": true, "ring": true, "hooks": true}

func (e *Eye) refusesLensWork(a Action, no func(arg, reason, instead string) error) error {
	in := e.set.tool == phacoTip
	switch {
	case a.Verb == "hydrodissect" && e.set.tool != noTool:
		return no("", "an instrument fills the wound", "withdraw it first")
	case a.Verb != "hydrodissect" && !in:
		return no("", "the ultrasound tip is not in the eye", "enter the phaco-tip first")
	case a.Verb == "take" && int(a.num("index")) >= e.count:
		return no("index", "there is no such loose piece", "chop first, or name one of those left")
	case a.Verb == "take":
	case e.lens < 5:
		return no("", "no nucleus is left", "go on to the cortex")
	case a.Verb == "sculpt" && e.set.clamped:
		return no("", "ultrasound without irrigation burns the wound", "open the clamp first")
	}
	return nil
}

func (e *Eye) refusesRest(a Action, no func(arg, reason, instead string) error) error {
	s := &e.set
	withdrawn := func() error {
		if s.tool != noTool {
			return no("", "the "+instrumentNames[s.tool]+" fills the wound", "withdraw it first")
		}
		return nil
	}
	switch a.Verb {
	case "ring":
		if e.bag.ring {
			return no("", "a ring is in the bag already", "support the bag by hooks if it is not enough")
		}
		if e.rent {
			return no("", "the capsule is torn and a ring would tear it further", "leave the ring out")
		}
		return withdrawn()
	case "hooks":
		if e.bag.hooks > 0 {
			return no("", "hooks hold the bag already", "go on")
		}
	case "implant":
		return e.refusesImplant(a, no, withdrawn)
	case "pull":
		if a.word("with") == "port" && s.tool == noTool {
			return no("with", "no port is in the eye", "enter an instrument, or use the sponge")
		}
		if a.word("with") == "sponge" {
			return withdrawn()
		}
	case "seal", "suture", "air", "press-wound":
		return withdrawn()
	default:
		return e.refusesBeyond(a, no, withdrawn)
	}
	return nil
}

func (e *Eye) refusesBeyond(a Action, no func(arg, reason, instead string) error, withdrawn func() error) error {
	switch a.Verb {
	case "segment":
		switch {
		case e.segments >= 2:
			return no("", "two segments hold the bag already", "go on")
		case e.spec.CapsulotomyTorn:
			return no("", "the edge of the capsulotomy is torn and would not carry it", "leave the bag, or plan another support")
		}
		return withdrawn()
	case "expand-pupil":
		if e.iris.held && a.word("with") != "stretch" {
			return no("", "the pupil is held open already", "go on")
		}
	case "drip":
		if e.behind.drip {
			return no("", "the drip runs already", "wait for it")
		}
	case "turn-implant":
		if e.imp.plane == "" || e.imp.gone {
			return no("", "no implant is in the eye", "implant one first")
		}
	}
	return nil
}

func (e *Eye) refusesImplant(a Action, no func(arg, reason, instead string) error, withdrawn func() error) error {
	plane := a.Word["plane"]
	switch {
	case e.imp.plane != "":
		return no("", "an implant is in the eye already", "go on")
	case plane == "none":
		return nil
	case e.lens > 60:
		return no("", "too much lens matter is in the way", "clear it first")
	case plane == "bag" && e.rent:
		return no("plane", "the capsule is torn", "choose the sulcus, or none")
	case plane == "capture" && (e.spec.CapsulotomyTorn || e.spec.CapsulotomyMM < 4.5 || e.spec.CapsulotomyMM > 5.5):
		return no("plane", "the capsulotomy is torn, or not between 4.5 and 5.5 mm, and does not hold an optic of 6 mm", "choose the sulcus, or none")
	}
	return withdrawn()
}
