package eye

// SignalInfo describes a mark that is not a finding.
type SignalInfo struct{ Name, Meaning string }

var signalTable = [...]SignalInfo{
	{"irrigation-on", "irrigation begins to run into the eye"},
	{"irrigation-off", "irrigation stops"},
	{"aspiration-on", "the pump begins to draw with an instrument in the eye"},
	{"aspiration-off", "the pump stops drawing"},
	{"ultrasound-on", "ultrasound starts"},
	{"ultrasound-off", "ultrasound stops"},
	{"settings-raised", "bottle, flow or vacuum limit was set higher"},
	{"settings-lowered", "bottle, flow or vacuum limit was set lower"},
	{"viscoelastic", "an injection of viscoelastic ended; the text says how much went in"},
	{"entered", "an instrument came into the eye"},
	{"withdrew", "an instrument left the eye"},
	{"placed", "the tip was brought nearer to the gap or away from it"},
	{"chopped", "the nucleus was chopped"},
	{"rotated", "the nucleus was turned"},
	{"sculpted", "the nucleus was sculpted"},
	{"hydrodissected", "fluid freed the nucleus from the capsule"},
	{"fragment-chosen", "the tip was brought to a piece"},
	{"fragment-taken", "a piece of the nucleus is gone"},
	{"stripped-radial", "a sector of cortex was stripped toward the middle"},
	{"stripped-tangential", "a sector of cortex was stripped along the rim"},
	{"ring-placed", "a capsular tension ring went in"},
	{"ring-abandoned", "the bag gave way while the ring went in; the ring is out again"},
	{"hooks-placed", "hooks hold the bag"},
	{"cutting", "the vitreous cutter began to cut"},
	{"pulled-vitreous", "vitreous was pulled without cutting"},
	{"implanted", "the implant went in; the text says where"},
	{"left-without-implant", "the eye was left without an implant"},
	{"stained", "the vitreous was stained"},
	{"strands-checked", "wound and pupil were looked over for strands"},
	{"strand-found", "the look found vitreous in the chamber or the wound"},
	{"refluxed", "fluid was pushed back out of the port"},
	{"ovd-washed-out", "viscoelastic was washed out"},
	{"clamped", "the irrigation line was clamped"},
	{"unclamped", "the irrigation line was opened"},
	{"sealed", "the wound was sealed"},
	{"squeezed", "the patient squeezed"},
	{"zonules-broke", "zonules broke; the text says how many clock hours"},
	{"capsule-rent", "the capsule tore"},
	{"vitreous-came", "vitreous is in the chamber for the first time"},
	{"hyaloid-breached", "the face of the vitreous broke"},
	{"support-lost", "the bag hangs on too little"},
}

// Signals returns the catalogue of mark names that are not findings, in fixed order.
// Besides these, say leaves the mark "said-" followed by its word.
func Signals() []SignalInfo { return append([]SignalInfo(nil), signalTable[:]...) }
