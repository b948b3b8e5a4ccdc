package eye

var verbTable = [...]Verb{
	{"machine", "set the machine; only what is given changes", []Arg{
		{Name: "bottle", Unit: "cm", Meaning: "height of the infusion bottle above the eye", Max: 140, LeftOut: stays},
		{Name: "flow", Unit: "mL/min", Meaning: "aspiration flow the pump is set to", Max: 60, LeftOut: stays},
		{Name: "vacuum", Unit: "mmHg", Meaning: "limit of the vacuum", Max: 700, LeftOut: stays},
		{Name: "power", Meaning: "ultrasound power, 0 to 1", Max: 1, LeftOut: stays},
		{Name: "cuts", Unit: "1/min", Meaning: "cut rate of the vitreous cutter", Max: 8000, LeftOut: stays},
		{Name: "mode", Meaning: "how the ultrasound tip moves", Words: []string{"longitudinal", "torsional"}, LeftOut: stays},
		{Name: "pump", Meaning: "what the pump holds: the flow, or the vacuum", Words: []string{"flow", "vacuum"}, LeftOut: stays},
		{Name: "us", Meaning: "pedal discipline: ultrasound only while the tip is occluded, or at any time", Words: []string{"occluded-only", "free"}, LeftOut: stays},
	}},
	{"pedal", "bring the foot pedal to a position and hold it: 0 off, 1 irrigation, 2 and aspiration, 3 and ultrasound or cutting", []Arg{
		{Name: "position", Meaning: "pedal position", Max: 3, Required: true, Main: true, Whole: true},
		{Name: "for", Unit: "s", Meaning: "how long it is held in this action", Max: 300, LeftOut: "0 s, or at most 60 s when until is given"},
		{Name: "until", Meaning: "stop earlier when this happens", Words: []string{"fragment-gone", "chamber-shallow", "vitreous-seen", "new-finding", "cut-done"}, LeftOut: "nothing stops it earlier"},
	}},
	{"enter", "bring an instrument into the eye; the pedal is at 1 for 1.5 s", []Arg{
		{Name: "instrument", Meaning: "what goes in", Words: []string{"phaco-tip", "aspiration-tip", "cutter"}, Required: true, Main: true},
		{Name: "irrigation", Meaning: "through the same instrument, or by a separate cannula", Words: []string{"coaxial", "separate"}, LeftOut: "separate for the cutter, coaxial otherwise"},
		{Name: "way", Meaning: "how it goes through the wound", Words: []string{"smooth", "forced"}, DefaultWord: "smooth"},
		{Name: "port", Meaning: "by the main wound, or by a new one beside it", Words: []string{"main", "new"}, DefaultWord: "main"},
	}},
	{"withdraw", "take the instrument out with the pedal where it is; the wound stands open 2.5 s, then closes itself", nil},
	{"place", "bring the tip nearer to the gap or away from it", []Arg{
		{Name: "nearness", Meaning: "0 in the middle of the chamber, 1 at the gap", Max: 1, Required: true, Main: true},
		hourArg(false, "clock hour the tip points to", "the hour stays"),
	}},
	{"clamp", "clamp the irrigation line, or open it", []Arg{
		{Name: "state", Meaning: "on is clamped", Words: []string{"on", "off"}, Required: true, Main: true},
	}},
	{"reflux", "push fluid back out of the port with the pedal at 1", []Arg{
		{Name: "pressure", Unit: "mmHg", Meaning: "pressure the line is vented to", Max: 150, Default: 60, Main: true},
		secondsArg(1, false, "how long"),
	}},
	{"ovd", "inject viscoelastic; the hand eases off as the eye firms up", []Arg{
		{Name: "kind", Meaning: "dispersive stays, cohesive washes out", Words: []string{"dispersive", "cohesive"}, DefaultWord: "dispersive", Main: true},
		{Name: "up_to", Unit: "uL", Meaning: "at most this much", Max: 400, Default: 250},
		{Name: "stop", Unit: "mmHg", Meaning: "eye pressure at which the hand stops (5 above the bottle while irrigation runs)", Min: 5, Max: 60, Default: 35},
		{Name: "port", Meaning: "side port, or the main wound, which then stands open", Words: []string{"side", "main"}, DefaultWord: "side"},
		{Name: "where", Meaning: "into the chamber, or at the gap to push gel back", Words: []string{"chamber", "gap"}, DefaultWord: "chamber"},
	}},
	{"chop", "split the nucleus with a second instrument; it is pushed away from the chopper's hour", []Arg{
		hourArg(true, "clock hour of the chopper", "the weak hour"),
		{Name: "force", Meaning: "6, 12 or 40 mN for a middling hand", Words: []string{"gentle", "normal", "rough"}, DefaultWord: "normal"},
		{Name: "stop", Unit: "mm", Meaning: "travel at which the hand stops", Min: 0.3, Max: 1.5, Default: 0.9},
		{Name: "pieces", Meaning: "pieces of the nucleus afterwards", Max: 8, Whole: true, LeftOut: "one more than now, at least 2, at most 6"},
	}},
	{"sculpt", "sculpt strokes at pedal 3, one second each", []Arg{
		{Name: "strokes", Meaning: "number of strokes", Min: 1, Max: 60, Default: 4, Main: true, Whole: true},
	}},
	{"rotate", "turn the nucleus in the bag; what sticks to the capsule turns the bag", []Arg{
		{Name: "torque", Unit: "mN.mm", Meaning: "torque of a middling hand on a free nucleus", Max: 30, Default: 3, Main: true},
	}},
	{"hydrodissect", "free the nucleus from the capsule with a little fluid", []Arg{
		{Name: "plane", Meaning: "between cortex and capsule, or within the lens", Words: []string{"capsule", "within"}, DefaultWord: "capsule", Main: true},
	}},
	{"take", "bring the tip to a loose piece, so that it comes first", []Arg{
		{Name: "index", Meaning: "which piece, 0 is the first of those left", Max: 11, Main: true, Whole: true},
	}},
	{"strip", "strip one sector of cortex: 2 s of aspiration, then the pull", []Arg{
		{Name: "sector", Meaning: "clock hour of the sector, 0 and 12 are the same", Max: 12, Required: true, Main: true, Whole: true},
		{Name: "direction", Meaning: "along the rim, or toward the middle", Words: []string{"tangential", "radial"}, DefaultWord: "tangential"},
		{Name: "way", Meaning: "with irrigation, or dry under viscoelastic", Words: []string{"irrigating", "dry"}, DefaultWord: "irrigating"},
	}},
	{"ring", "lead a capsular tension ring into the bag", []Arg{
		hourArg(true, "clock hour the leading end pushes against", "opposite the weak hour"),
	}},
	{"hooks", "support the bag by hooks at its edge", []Arg{
		{Name: "at", Meaning: "number of hooks", Min: 1, Max: 6, Main: true, Whole: true, LeftOut: "two in a gap of 3 h or more, otherwise four around"},
	}},
	{"cut", "cut vitreous with the cutter in the eye until it is gone; the machine stays at these settings", []Arg{
		secondsArg(40, true, "at most this long"),
		{Name: "vacuum", Unit: "mmHg", Meaning: "limit of the vacuum", Max: 700, Default: 250},
		{Name: "flow", Unit: "mL/min", Meaning: "aspiration flow", Max: 60, Default: 12},
		{Name: "cuts", Unit: "1/min", Meaning: "cut rate", Max: 8000, Default: 4000},
		{Name: "bottle", Unit: "cm", Meaning: "height of the infusion bottle", Max: 140, Default: 45},
		{Name: "nearness", Meaning: "of the port to the gap, 0 to 1", Max: 1, Default: 0.7},
	}},
	{"pull", "pull vitreous out of the wound without cutting it", []Arg{
		{Name: "with", Meaning: "the port that holds it, or a sponge at the wound", Words: []string{"port", "sponge"}, DefaultWord: "sponge", Main: true},
	}},
	{"implant", "implant the lens", []Arg{
		{Name: "plane", Meaning: "in the bag, in the sulcus before it, with haptics in the sulcus and the optic caught in the capsulotomy, or none (the eye is left without)", Words: []string{"bag", "sulcus", "capture", "none"}, Required: true, Main: true},
		hourArg(false, "clock hour of one haptic", "the weak hour"),
		{Name: "lens", Meaning: "of three pieces with thin haptics, or of one piece with thick ones, which rub in the sulcus", Words: []string{"three-piece", "one-piece"}, DefaultWord: "three-piece"},
	}},
	{"check-strands", "wipe the wound and look at the pupil for strands", nil},
	{"remove-ovd", "wash out the viscoelastic at pedal 2 with the present settings", []Arg{
		secondsArg(8, true, "how long"),
	}},
	{"stain", "stain the vitreous so that a little of it is seen", nil},
	{"seal", "seal the wound", nil},
	{"squeeze", "the patient squeezes: pressure from outside rises, then goes", []Arg{
		{Name: "pressure", Unit: "mmHg", Meaning: "outside pressure while it lasts (6 is a quiet patient)", Min: 0, Max: 40, Default: 12, Main: true},
		secondsArg(2, false, "how long"),
	}},
	{"wait", "let time pass with the pedal where it is", []Arg{
		{Name: "for", Unit: "s", Meaning: "how long", Max: 300, Default: 1, Main: true},
	}},
	{"segment", "suture a segment to the wall of the eye, which holds the bag over some four hours", []Arg{
		hourArg(true, "clock hour of its middle", "the weak hour"),
	}},
	{"expand-pupil", "hold the pupil open, or stretch it", []Arg{
		{Name: "with", Meaning: "hooks or an expander ring, which hold; or stretching, which does not", Words: []string{"hooks", "ring", "stretch"}, DefaultWord: "hooks", Main: true},
	}},
	{"pupil-drug", "put a drug into the chamber that acts on the pupil", []Arg{
		{Name: "kind", Meaning: "widening, which also firms the iris, or narrowing, which shows thin strands", Words: []string{"dilating", "constricting"}, Required: true, Main: true},
	}},
	{"reposit-iris", "bring the iris out of the wound; it stays back where the pressure has gone", []Arg{
		{Name: "from", Meaning: "swept back from another port, or pushed in through the same wound", Words: []string{"other-port", "same-wound"}, DefaultWord: "other-port", Main: true},
	}},
	{"lift-iris", "lift the iris off the capsule with a second instrument", nil},
	{"burp", "let fluid out beside the side port until the eye is soft, at most 2 s", nil},
	{"loosen", "loosen speculum and drape", nil},
	{"feel", "feel how firm the eye is", nil},
	{"look-behind", "look at the red reflex and past the lens", nil},
	{"drip", "have a drip given that draws fluid out of the vitreous; it acts over minutes", nil},
	{"tap", "draw fluid from behind by the pars plana", []Arg{
		{Name: "with", Meaning: "a cutter, or a needle, which pulls on gel", Words: []string{"cutter", "needle"}, DefaultWord: "cutter", Main: true},
		{Name: "amount", Unit: "uL", Meaning: "how much", Min: 10, Max: 200, Default: 80},
	}},
	{"air", "fill the chamber with air", []Arg{
		{Name: "fill", Meaning: "share of the chamber", Min: 0.1, Max: 1, Default: 0.7, Main: true},
	}},
	{"press-wound", "hold the wound shut with a finger until something goes in again", nil},
	{"suture", "close the wound with stitches", nil},
	{"turn-implant", "turn the implant so that one haptic lies at another hour", []Arg{
		{Name: "hour", Meaning: "clock hour of one haptic", Max: 12, Required: true, Main: true},
	}},
	{"cough", "the patient coughs: bursts of pressure, and a jolt to what is in the eye", []Arg{
		{Name: "bursts", Meaning: "how many", Min: 1, Max: 6, Default: 3, Main: true, Whole: true},
	}},
	{"startle", "the patient moves: a jolt to what is in the eye", nil},
	{"calm-patient", "make it easier for the patient to lie still", []Arg{
		{Name: "with", Meaning: "words, or sedation and pain relief", Words: []string{"words", "sedation"}, DefaultWord: "words", Main: true},
	}},
	{"say", "say it aloud; takes 1 s", []Arg{
		{Name: "words", Meaning: "one word such as stop, help, plan", Required: true, Main: true, FreeWord: true},
	}},
}
