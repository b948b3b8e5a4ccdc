package eye

// Finding is something the surgeon sees or feels now. Text has its clock hour filled
// in and never names a hidden number.
type Finding struct{ ID, Text string }

// FindingInfo describes one finding of the catalogue.
type FindingInfo struct {
	ID      string // kebab-case
	Pattern string // text, {hour} stands for the clock hour
	On, Off string // when it switches on and off, in plain words
}

// Finding indices, in catalogue order.
const (
	fShallow = iota
	fFlat
	fDeep
	fBounce
	fBounceSide
	fPupilSnap
	fNoFollow
	fStrandPort
	fGel
	fPeaked
	fHolds
	fWashing
	fHard
	fSoft
	fShallowIrrigating
	fFolds
	fGapWidens
	fTilts
	fWobbles
	fDrawnUp
	fDeepening
	fSprings
	fChatter
	fWarm
	fWhitens
	fHazy
	fOffCentre
	fCortexComes
	fCortexHolds
	fDropsBack
	fClear
	fPupilSmall
	fPupilShrinks
	fBillows
	fProlapse
	fIrisAtPort
	fIrisOnCapsule
	fIrisForward
	fMound
	fPain
	fFlap
	fBlurs
	fImplantSlips
	fImplantDrops
	fGapes
	numFindings
)

var findingTable = [numFindings]FindingInfo{
	fShallow:           {"chamber-shallow", "The chamber shallows.", "depth below 2.5 mm", "depth above 2.8 mm"},
	fFlat:              {"chamber-flat", "The chamber is flat, the cornea dimples.", "depth below 1.2 mm", "depth above 1.6 mm"},
	fDeep:              {"chamber-deep", "The chamber is deep, the iris bows back.", "depth above 4.1 mm", "depth below 4.0 mm"},
	fBounce:            {"bounce", "The chamber bounces.", "depth swings by more than 0.35 mm within half a second while aspirating", "the swing falls below 0.15 mm"},
	fBounceSide:        {"bounce-to-one-side", "The lens edge bounces most toward {hour} o'clock.", "the bag edge swings more than 1.0 mm within half a second", "the swing falls below 0.5 mm"},
	fPupilSnap:         {"pupil-snap", "The pupil snaps.", "depth falls by more than 0.3 mm within 0.1 s", "1 s later"},
	fNoFollow:          {"fragment-will-not-follow", "The fragment does not follow to the tip.", "aspirating with a loose fragment that comes no nearer for 3 s", "it comes nearer, none is left, or the pedal is let up"},
	fStrandPort:        {"strand-at-port", "The tip is sluggish; something clear clings to the port.", "a strand engaged by more than a quarter while aspirating", "less than 0.15 engaged"},
	fGel:               {"gel-in-chamber", "Clear gel in the chamber.", "more than 4 uL of vitreous in the chamber (0.3 uL when stained)", "less than half of that"},
	fPeaked:            {"pupil-peaked", "The pupil peaks toward the wound.", "a strand caught in the wound, more than 0.1", "less than 0.05"},
	fHolds:             {"chamber-holds-itself", "The chamber stays formed with irrigation off.", "pedal at 0, more than 0.6 filled with viscoelastic and deeper than 2.8 mm", "less than 0.4 filled"},
	fWashing:           {"viscoelastic-washing-out", "The viscoelastic is washing out.", "the fill falls below 0.3 after having been above 0.6", "the fill rises above 0.5"},
	fHard:              {"eye-hard", "The eye feels hard.", "chamber pressure above 65 mmHg", "below 55 mmHg"},
	fSoft:              {"eye-soft", "The eye feels soft.", "chamber pressure below 6 mmHg", "above 10 mmHg"},
	fShallowIrrigating: {"shallow-while-irrigating", "The chamber is shallow although it is irrigated.", "pedal 1 or more, pressure above 25 mmHg, depth below 3.0 mm", "depth above 3.2 mm"},
	fFolds:             {"folds", "Wrinkles run toward {hour} o'clock.", "during a pull or push: a zonule at more than half its strength, or the bag edge moved more than 0.4 mm", "the pull or push ends"},
	fGapWidens:         {"gap-widens", "The bag edge comes into view at {hour} o'clock.", "0.4 clock hours more broken than last reported, or a gap of 2 h with the bag 0.3 mm off centre", "after 3 s; again at the next widening"},
	fTilts:             {"lens-tilts", "The lens tilts toward {hour} o'clock.", "tilt above 5 degrees", "below 3 degrees"},
	fWobbles:           {"lens-wobbles", "The lens wobbles.", "swing under a small push above 1.6 times the healthy eye's", "below 1.4 times"},
	fDrawnUp:           {"capsule-drawn-up", "The capsule is drawn toward the tip.", "less than 0.4 mm between tip and capsule", "more than 0.8 mm"},
	fDeepening:         {"sudden-deepening", "Sudden deepening, the pupil widens, the view behind the lens clears.", "the posterior capsule tears", "never"},
	fSprings:           {"strand-springs-back", "Something springs back from the port when suction stops.", "a strand lets go within the pedal at 0 or 1", "1 s later"},
	fChatter:           {"chatter", "The tip chatters, a milky cloud stands before it.", "ultrasound for 1 s on a closed port with little vacuum behind it", "vacuum above half the limit, or ultrasound off"},
	fWarm:              {"wound-warm", "The wound is warm, fluid at it turns cloudy.", "above 42 degC", "below 38 degC"},
	fWhitens:           {"wound-whitens", "The wound edge whitens.", "above 60 degC", "never"},
	fHazy:              {"cornea-hazy", "The cornea hazes.", "more than 25 % of the endothelial cells lost", "never"},
	fOffCentre:         {"implant-off-centre", "The implant sits off centre toward {hour} o'clock.", "implant in the bag and the bag more than 0.4 mm off centre", "less than 0.35 mm"},
	fCortexComes:       {"cortex-comes", "The cortex comes easily.", "stripping loads no zonule beyond 0.4 of its strength", "3 s later"},
	fCortexHolds:       {"cortex-holds", "The cortex holds and the bag moves with it.", "stripping loads a zonule beyond 0.6 of its strength", "3 s later"},
	fDropsBack:         {"lens-drops-back", "The whole lens drops back and swings.", "9 clock hours of zonules missing", "never"},
	fClear:             {"clear-at-wound", "Nothing at the wound, the pupil is round.", "looked for strands and there are none", "3 s later"},
	fPupilSmall:        {"pupil-small", "The pupil is small.", "pupil under 5 mm", "over 5.5 mm"},
	fPupilShrinks:      {"pupil-shrinks", "The pupil keeps shrinking.", "it narrows by more than 0.03 mm/s without a drug", "less than 0.01 mm/s"},
	fBillows:           {"iris-billows", "The iris billows in the flow.", "waves by more than 0.35 of a limp iris in 30 mL/min", "less than 0.2"},
	fProlapse:          {"iris-prolapses", "The iris comes into the wound.", "more than 0.15 of it in the wound", "less than 0.08"},
	fIrisAtPort:        {"iris-at-port", "The iris is drawn to the port.", "its edge comes near the port under suction", "suction stops"},
	fIrisOnCapsule:     {"iris-on-capsule", "The chamber is very deep, the pupil wide, the iris lies on the capsule all round.", "reverse pupil block", "the iris is lifted off"},
	fIrisForward:       {"iris-bows-forward", "Air fills the chamber to the edge, the iris bows forward behind it.", "more than 0.9 of the chamber filled with air", "less than 0.8"},
	fMound:             {"dark-mound", "A dark mound rises into the red reflex.", "more than 40 uL of blood under the choroid, or looked for it and there is some", "less than 20 uL, or 3 s after the look"},
	fPain:              {"sudden-pain", "The patient complains of sudden pain.", "a vessel of the choroid gives way in a patient who is not sedated", "5 s later"},
	fFlap:              {"membrane-flap", "A clear scroll hangs from the inner edge of the wound.", "more than 0.02 of the membrane free", "less than 0.01"},
	fBlurs:             {"cornea-blurs", "The cornea blurs and swells over the wound.", "more than 0.3 of the membrane free", "less than 0.2"},
	fImplantSlips:      {"implant-slips", "The implant sits askew; one haptic has slipped back.", "an implant before the bag slipped by more than 0.4 mm", "less than 0.3 mm"},
	fImplantDrops:      {"implant-drops", "The implant slips back out of view.", "an implant before the bag slipped by more than 2.4 mm", "never"},
	fGapes:             {"wound-gapes", "The wound gapes and leaks.", "burned long enough to stand open by more than 0.2", "sutured"},
}

// Findings returns the catalogue in its fixed order.
func Findings() []FindingInfo { return append([]FindingInfo(nil), findingTable[:]...) }
