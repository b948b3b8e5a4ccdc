package eye

// Measure indices into [Measures]; names, units and meanings stand in [MeasureTable]
// in the same order.
const (
	mTime = iota
	mPedal
	mDepth
	mIOP
	mPv
	mGapP
	mVacuum
	mBottle
	mFlow
	mVacLimit
	mPower
	mPhi
	mLens
	mFragments
	mCortex
	mDialysis
	mNewDialysis
	mPeak
	mOffset
	mTilt
	mWobble
	mGapArea
	mVp
	mVleft
	mVcut
	mVlost
	mStrand
	mWoundStrand
	mTraction
	mTractionHazard
	mRent
	mRentHazard
	mHyaloid
	mCDE
	mEndothelium
	mWoundTemp
	mBurn
	mShallow
	mLowestDepth
	mHighestIOP
	mLowestIOP
	mHardSeconds
	mRing
	mHooks
	mImplantBag
	mImplantSulcus
	mAphakic
	mInBag
	mTipIn
	mPhacoIn
	mAspIn
	mCutterIn
	mWoundOpen
	mIrrigation
	mAspirating
	mUltrasound
	mOccluded
	mAspFlow
	mIrrFlow
	mStained
	mSealed
	mNearness
	mClamped
	mGapSpan
	mSupported
	mHarm
	mWeakHour
	mPupil
	mProlapse
	mIrisDamage
	mIrisCaught
	mPupilHeld
	mPupilBlocked
	mOutside
	mAstray
	mBlood
	mBleeding
	mCalmed
	mFlap
	mAir
	mGapOVD
	mSegments
	mSutured
	mGape
	mImplantSupport
	mImplantSlip
	mImplantLost
	mImplantRubs
	mOpticCaptured
	mCortexPull
	// NumMeasures is the number of measures.
	NumMeasures
)

// Measures holds everything a guard or a rubric may ask of the eye at one instant,
// hidden measures too, in the order of [MeasureTable]. Bools are 0 or 1.
type Measures [NumMeasures]float64

// MeasureInfo describes one measure.
type MeasureInfo struct {
	Name, Unit, Meaning string
	Bool                bool
	Hidden              bool // a trainee may not see it before the debrief
}

var measureTable = [NumMeasures]MeasureInfo{
	mTime:           {"time_s", "s", "time since the start", false, false},
	mPedal:          {"pedal", "", "foot pedal position 0 to 3", false, false},
	mDepth:          {"chamber_depth_mm", "mm", "depth of the anterior chamber", false, false},
	mIOP:            {"iop_mmhg", "mmHg", "pressure in the chamber", false, true},
	mPv:             {"vitreous_pressure_mmhg", "mmHg", "pressure in the vitreous", false, true},
	mGapP:           {"pressure_gap_mmhg", "mmHg", "vitreous pressure less chamber pressure; above 0 gel is driven forward", false, true},
	mVacuum:         {"vacuum_mmhg", "mmHg", "vacuum in the aspiration line now", false, false},
	mBottle:         {"bottle_cm", "cm", "bottle height set", false, false},
	mFlow:           {"flow_ml_min", "mL/min", "aspiration flow set", false, false},
	mVacLimit:       {"vacuum_limit_mmhg", "mmHg", "vacuum limit set", false, false},
	mPower:          {"power", "", "ultrasound power set, 0 to 1", false, false},
	mPhi:            {"ovd_fill", "", "share of the chamber filled with viscoelastic, 0 to 1", false, false},
	mLens:           {"lens_left_ul", "uL", "lens matter left in the bag", false, false},
	mFragments:      {"fragments_left", "", "loose pieces of nucleus left", false, false},
	mCortex:         {"cortex_sectors_left", "", "sectors of twelve still holding cortex", false, false},
	mDialysis:       {"dialysis_hours", "h", "clock hours of zonules missing", false, true},
	mNewDialysis:    {"new_dialysis_hours", "h", "clock hours of zonules broken since the start", false, true},
	mPeak:           {"peak_load_ratio", "", "highest load on a zonule relative to its strength so far", false, true},
	mOffset:         {"offset_mm", "mm", "bag off centre", false, true},
	mTilt:           {"tilt_deg", "deg", "tilt of the bag", false, true},
	mWobble:         {"wobble", "", "how far the lens swings under a small push, relative to a healthy eye; 99 at most", false, true},
	mGapArea:        {"gap_mm2", "mm2", "open area between bag and body wall where zonules are missing", false, true},
	mVp:             {"vitreous_in_chamber_ul", "uL", "vitreous in the chamber", false, true},
	mVleft:          {"vitreous_left_ul", "uL", "vitreous in the chamber and caught in the wound that was not cut away", false, true},
	mVcut:           {"vitreous_cut_ul", "uL", "vitreous cut away", false, true},
	mVlost:          {"vitreous_lost_ul", "uL", "vitreous cut, pulled out or still in front, in all", false, true},
	mStrand:         {"strand", "", "how far a strand is engaged in the port, 0 to 1", false, true},
	mWoundStrand:    {"wound_strand", "", "strand caught in the wound, 0 to 1", false, true},
	mTraction:       {"traction_mns", "mN.s", "traction dose on the vitreous base", false, true},
	mTractionHazard: {"traction_hazard", "", "traction hazard index (for comparing decisions; not the chance of a retinal tear)", false, true},
	mRent:           {"rent", "", "the capsule is torn", true, true},
	mRentHazard:     {"rent_hazard", "", "capsule hazard index (risk run of tearing the posterior capsule)", false, true},
	mHyaloid:        {"hyaloid_breached", "", "the face of the vitreous is broken", true, true},
	mCDE:            {"cde", "", "dissipated ultrasound energy, power times seconds", false, false},
	mEndothelium:    {"endothelial_loss_pct", "", "loss of endothelial cells, per cent", false, true},
	mWoundTemp:      {"wound_c", "degC", "temperature of the wound", false, true},
	mBurn:           {"burn_s", "s", "seconds above 60 degC at the wound", false, true},
	mShallow:        {"shallow_s", "s", "seconds with the chamber under 1.5 mm", false, true},
	mLowestDepth:    {"lowest_depth_mm", "mm", "lowest chamber depth since the counters started", false, true},
	mHighestIOP:     {"highest_iop_mmhg", "mmHg", "highest chamber pressure since the counters started", false, true},
	mLowestIOP:      {"lowest_iop_mmhg", "mmHg", "lowest chamber pressure since the counters started", false, true},
	mHardSeconds:    {"hard_s", "s", "seconds with the chamber pressure above 65 mmHg", false, true},
	mRing:           {"ring_in", "", "a capsular tension ring is in the bag", true, false},
	mHooks:          {"hooks", "", "hooks supporting the bag", false, false},
	mImplantBag:     {"implant_in_bag", "", "the lens implant is in the bag", true, false},
	mImplantSulcus:  {"implant_in_sulcus", "", "the lens implant is in the sulcus", true, false},
	mAphakic:        {"left_without_implant", "", "it was decided to leave the eye without an implant", true, false},
	mInBag:          {"in_bag", "", "the bag still hangs: fewer than 9 clock hours of zonules were ever missing", true, true},
	mTipIn:          {"tip_in_eye", "", "an instrument is in the eye", true, false},
	mPhacoIn:        {"phaco_in", "", "the ultrasound tip is in the eye", true, false},
	mAspIn:          {"aspiration_in", "", "the aspiration tip is in the eye", true, false},
	mCutterIn:       {"cutter_in", "", "the vitreous cutter is in the eye", true, false},
	mWoundOpen:      {"wound_open", "", "the main wound stands open", true, false},
	mIrrigation:     {"irrigation_on", "", "irrigation runs into the eye", true, false},
	mAspirating:     {"aspirating", "", "the pump draws", true, false},
	mUltrasound:     {"ultrasound_on", "", "ultrasound is on", true, false},
	mOccluded:       {"occlusion", "", "how far lens matter closes the port, 0 to 1", false, true},
	mAspFlow:        {"aspirated_ml_min", "mL/min", "flow out of the chamber through the port", false, true},
	mIrrFlow:        {"irrigated_ml_min", "mL/min", "flow into the chamber", false, true},
	mStained:        {"vitreous_stained", "", "the vitreous has been stained", true, false},
	mSealed:         {"wound_sealed", "", "the wound has been sealed", true, false},
	mNearness:       {"nearness", "", "nearness of the tip to the gap, 0 to 1", false, false},
	mClamped:        {"irrigation_clamped", "", "the irrigation line is clamped", true, false},
	mGapSpan:        {"gap_span_hours", "h", "span of the longest gap in the zonules", false, true},
	mSupported:      {"supported", "", "adequate support: wobble under 2.6, offset under 0.45 mm, no rent", true, true},
	mHarm:           {"harm", "", "harm index, for ordering only", false, true},
	mWeakHour:       {"weak_hour", "", "clock hour of the middle of the longest gap, or where the zonules are weakest", false, true},
	mPupil:          {"pupil_mm", "mm", "diameter of the pupil", false, false},
	mProlapse:       {"iris_prolapse", "", "share of the iris that lies in the wound, 0 to 1", false, true},
	mIrisDamage:     {"iris_damage", "", "dose of rubbing, drawing and stretching of the iris", false, true},
	mIrisCaught:     {"iris_at_port", "", "the iris is drawn into the port", true, true},
	mPupilHeld:      {"pupil_held", "", "hooks or an expander hold the pupil open", true, false},
	mPupilBlocked:   {"pupil_blocked", "", "the iris lies on the capsule all round (reverse pupil block)", true, true},
	mOutside:        {"outside_pressure_mmhg", "mmHg", "pressure of lids, orbit, speculum and drape on the eye", false, true},
	mAstray:         {"misdirected_ul", "uL", "fluid gone astray behind an uninjured bag", false, true},
	mBlood:          {"choroid_blood_ul", "uL", "blood under the choroid", false, true},
	mBleeding:       {"choroid_bleeding", "", "a vessel of the choroid bleeds", true, true},
	mCalmed:         {"patient_calmed", "", "the patient has been spoken to or sedated", true, false},
	mFlap:           {"membrane_flap", "", "share of Descemet's membrane that hangs free, 0 to 1", false, true},
	mAir:            {"air_fill", "", "share of the chamber filled with air, 0 to 1", false, false},
	mGapOVD:         {"gap_ovd", "", "how far viscoelastic put at the gap fills it, 0 to 1", false, true},
	mSegments:       {"segments", "", "sutured segments supporting the bag", false, false},
	mSutured:        {"wound_sutured", "", "the wound has been closed with stitches", true, false},
	mGape:           {"wound_gape", "", "how far a burned wound stands open, 0 to 1", false, true},
	mImplantSupport: {"implant_support", "", "how well the implant is held, 0 to 1; half is the least that keeps it in place", false, true},
	mImplantSlip:    {"implant_slip_mm", "mm", "how far an implant before the bag has slipped", false, true},
	mImplantLost:    {"implant_lost", "", "the implant slipped out of view", true, true},
	mImplantRubs:    {"implant_rubs", "", "a one-piece implant lies in the sulcus, where its haptics rub the iris", true, true},
	mOpticCaptured:  {"optic_captured", "", "the optic is caught in the capsulotomy, the haptics in the sulcus", true, false},
	mCortexPull:     {"cortex_pull_mn", "mN", "force the last strip of cortex took to come free; a ring traps cortex", false, true},
}

// MeasureTable lists all measures; the position is the index into [Measures].
func MeasureTable() []MeasureInfo { return append([]MeasureInfo(nil), measureTable[:]...) }

var measureIndex = func() map[string]int {
	m := make(map[string]int, NumMeasures)
	for i, info := range measureTable {
		m[info.Name] = i
	}
	return m
}()

// MeasureIndex finds a measure's index by name.
func MeasureIndex(name string) (int, bool) {
	i, ok := measureIndex[name]
	return i, ok
}

// Get reads a measure by name.
func (m Measures) Get(name string) (float64, bool) {
	i, ok := measureIndex[name]
	if !ok {
		return 0, false
	}
	return m[i], true
}
