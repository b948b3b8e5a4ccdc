package eye

// Apply does one action and lets the eye time pass that it takes. A malformed or
// impossible action is a *Refusal and changes nothing. Fractions of a tick asked for
// are rounded.
func (e *Eye) Apply(a Action) (Result, error) {
	if err := a.Check(); err != nil {
		return Result{}, err
	}
	if err := e.refuses(a); err != nil {
		return Result{}, err
	}
	var r Result
	e.begin(&r)
	e.do(a)
	e.end()
	return r, nil
}

func (e *Eye) do(a Action) {
	switch a.Verb {
	case "machine":
		e.setMachine(a)
	case "pedal":
		e.pressPedal(a)
	case "enter":
		e.enter(a)
	case "withdraw":
		e.withdraw()
	case "place":
		e.place(a)
	case "clamp":
		e.clamp(a.Word["state"] == "on")
	case "reflux":
		e.reflux(a.num("pressure"), a.num("for"))
	case "ovd":
		e.ovd(a)
	case "remove-ovd":
		e.removeOVD(a.num("for"))
	case "hydrodissect":
		e.hydrodissect(a.word("plane") == "within")
	case "chop":
		e.chop(a)
	case "sculpt":
		e.sculpt(int(a.num("strokes")))
	case "rotate":
		e.rotate(a.num("torque"))
	case "take":
		e.take(int(a.num("index")))
	case "strip":
		e.strip(a)
	case "ring":
		e.placeRing(e.hourOr(a, e.opposite()))
	case "hooks":
		e.placeHooks(a)
	case "implant":
		e.implantLens(a)
	default:
		e.doRest(a)
	}
}

func (e *Eye) doRest(a Action) {
	switch a.Verb {
	case "cut":
		e.cut(a)
	case "pull":
		e.pull(a.word("with"))
	case "check-strands":
		e.checkStrands()
	case "stain":
		e.pass(3)
		e.set.stained = true
		e.mark("stained", "")
	case "seal":
		e.pass(5)
		e.change(func(s *settings) { s.sealed, s.wound = true, woundClosed })
		e.mark("sealed", "")
	case "squeeze":
		e.squeeze(a.num("pressure"), a.num("for"))
	case "wait":
		e.pass(a.num("for"))
	case "say":
		e.mark("said-"+a.Word["words"], "")
		e.pass(1)
	default:
		e.doBeyond(a)
	}
}

// doBeyond does what concerns iris, membrane, patient and what presses from behind.
func (e *Eye) doBeyond(a Action) {
	switch a.Verb {
	case "segment":
		e.sutureSegment(e.hourOr(a, e.weakHour()))
	case "expand-pupil":
		e.expandPupil(a.word("with"))
	case "pupil-drug":
		e.pupilDrug(a.Word["kind"])
	case "reposit-iris":
		e.reposit(a.word("from"))
	case "lift-iris":
		e.liftIris()
	case "burp":
		e.burp()
	case "loosen":
		e.loosen()
	case "feel":
		e.feel()
	case "look-behind":
		e.lookBehind()
	case "drip":
		e.giveDrip()
	case "tap":
		e.tap(a.word("with"), a.num("amount"))
	case "air":
		e.fillWithAir(a.num("fill"))
	case "press-wound":
		e.pressWound()
	case "suture":
		e.suture()
	case "turn-implant":
		e.turnImplant(a.Num["hour"])
	case "cough":
		e.cough(int(a.num("bursts")))
	case "startle":
		e.startle()
	case "calm-patient":
		e.calmPatient(a.word("with"))
	}
}

func (e *Eye) setMachine(a Action) {
	number := func(name string, to *float64) {
		if x, ok := a.Num[name]; ok {
			*to = x
		}
	}
	choice := func(name, yes string, to *bool) {
		if w, ok := a.Word[name]; ok {
			*to = w == yes
		}
	}
	e.change(func(s *settings) {
		number("bottle", &s.bottle)
		number("flow", &s.flow)
		number("vacuum", &s.limit)
		number("power", &s.power)
		number("cuts", &s.cuts)
		choice("mode", "torsional", &s.torsional)
		choice("pump", "vacuum", &s.byVacuum)
		choice("us", "occluded-only", &s.occludedOnly)
	})
}

// untilSeconds is how long the pedal is held at most when only a condition is given.
const untilSeconds = 60

func (e *Eye) pressPedal(a Action) {
	position := int(a.Num["position"])
	e.change(func(s *settings) { s.pedal = position })
	until, conditional := a.Word["until"]
	seconds, given := a.Num["for"]
	if conditional && !given {
		seconds = untilSeconds
	}
	e.advance(int64(nearest(seconds/tick)), e.stopAt(until))
}

// stopAt gives the test of a stop condition; none for an empty name.
func (e *Eye) stopAt(until string) func() bool {
	switch until {
	case "fragment-gone":
		taken := e.taken
		return func() bool { return e.taken > taken || e.count == 0 }
	case "chamber-shallow":
		return func() bool { return e.depth < 2.5 }
	case "vitreous-seen":
		return e.vitreousSeen
	case "new-finding":
		seen := 0
		if e.rec != nil {
			seen = len(e.rec.Marks)
		}
		return func() bool { return newFinding(e.rec.Marks[seen:]) }
	case "cut-done":
		return func() bool { return e.vp < 0.2 }
	}
	return nil
}

// vitreousSeen: an attentive eye sees 2 uL, or 0.3 uL once stained; the finding
// gel-in-chamber comes later, for everyone.
func (e *Eye) vitreousSeen() bool { return e.vp > 2 || e.set.stained && e.vp > 0.3 }

func newFinding(marks []Mark) bool {
	for _, m := range marks {
		if m.Off {
			continue
		}
		for i := range findingTable {
			if findingTable[i].ID == m.Name {
				return true
			}
		}
	}
	return false
}

// hourOr is the hour an action names, or another.
func (e *Eye) hourOr(a Action, other float64) float64 {
	if h, ok := a.Num["hour"]; ok {
		return h
	}
	return other
}

// opposite is the hour opposite the weak one.
func (e *Eye) opposite() float64 {
	h := e.weakHour() + 6
	if h > 12 {
		h -= 12
	}
	return h
}

// handFactor is how hard the hand is this time.
func (e *Eye) handFactor() float64 { return e.hand.lognormal(1, e.par.HandSigma) }
