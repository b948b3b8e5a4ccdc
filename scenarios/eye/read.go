package eye

import "math"

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// fast lists the measures that move within an action without an event; the others are
// monotone, or change at events where all are looked at.
var fast = [...]int{mDepth, mIOP, mPv, mGapP, mVacuum, mPhi, mVp, mVleft, mStrand, mWoundStrand, mWoundTemp, mOccluded, mAspFlow, mIrrFlow,
	mPupil, mProlapse, mIrisCaught, mOutside, mAstray, mBlood, mFlap, mAir, mGapOVD}

func (e *Eye) readFast(m *Measures) {
	m[mDepth], m[mIOP], m[mPv], m[mGapP] = e.depth, e.pa, e.pv, e.pv-e.pa
	m[mVacuum] = max(0, -e.p)
	m[mPhi], m[mVp], m[mVleft] = e.phi, e.vp, e.vp+5*e.wound
	m[mStrand], m[mWoundStrand], m[mWoundTemp] = e.strand, e.wound, e.woundTemp
	m[mOccluded], m[mAspFlow], m[mIrrFlow] = e.occl, max(0, e.qa)*perMLMin, max(0, e.q)*perMLMin
	m[mPupil], m[mProlapse], m[mIrisCaught] = e.iris.pupil, e.iris.prolapse, bit(e.iris.caught)
	m[mOutside], m[mAstray], m[mBlood] = e.fl.ext, e.behind.astray, e.behind.blood
	m[mFlap], m[mAir], m[mGapOVD] = e.flap, e.air, e.gapOVD
}

func (e *Eye) spanFast(low, high *Measures) {
	var m Measures
	e.readFast(&m)
	for _, i := range fast {
		if x := m[i]; x < low[i] {
			low[i] = x
		} else if x > high[i] {
			high[i] = x
		}
	}
}

// Measures reads everything a guard or a rubric may ask, hidden measures too.
func (e *Eye) Measures() Measures {
	var m Measures
	e.readFast(&m)
	e.readBench(&m)
	s := &e.set
	m[mTime] = e.Time()
	m[mLens], m[mFragments] = e.lens, float64(e.count)
	for _, c := range e.cortex {
		m[mCortex] += bit(c)
	}
	m[mTipIn], m[mPhacoIn], m[mAspIn], m[mCutterIn] = bit(s.tool != noTool), bit(s.tool == phacoTip), bit(s.tool == aspirationTip), bit(s.tool == cutter)
	o := e.Outcome()
	m[mDialysis], m[mNewDialysis], m[mPeak] = o.DialysisHours, o.NewDialysisHours, o.PeakLoadRatio
	m[mOffset], m[mTilt], m[mWobble], m[mGapArea] = o.OffsetMM, o.TiltDeg, o.Wobble, e.gap
	m[mVcut], m[mVlost] = o.VitreousCutUL, o.VitreousTotalUL
	m[mTraction], m[mTractionHazard] = o.TractionMNS, o.TractionHazard
	m[mRent], m[mRentHazard], m[mHyaloid] = bit(o.Rent), o.RentHazard, bit(e.hyaloid)
	m[mCDE], m[mEndothelium], m[mBurn] = o.CDE, o.EndothelialLossPct, o.BurnSeconds
	m[mShallow], m[mLowestDepth], m[mHighestIOP], m[mLowestIOP], m[mHardSeconds] = o.ShallowSeconds, o.LowestDepthMM, o.HighestIOP, o.LowestIOP, o.HardSeconds
	m[mRing], m[mHooks] = bit(e.bag.ring), float64(e.bag.hooks)
	m[mImplantBag], m[mImplantSulcus], m[mAphakic], m[mInBag] = bit(e.bag.implant), bit(e.outsideBag()), bit(e.leftWithout), bit(!e.lost)
	m[mSupported], m[mHarm], m[mWeakHour] = bit(o.Supported), o.Harm(), e.weakHour()
	_, m[mGapSpan] = e.bag.longestGap()
	e.readBeyond(&m)
	return m
}

// readBeyond reads what lies beyond the ordinary eye.
func (e *Eye) readBeyond(m *Measures) {
	i := &e.iris
	m[mIrisDamage], m[mPupilHeld], m[mPupilBlocked] = i.damage, bit(i.held), bit(i.blocked)
	m[mBleeding], m[mCalmed] = bit(e.behind.bleeding), bit(e.behind.calmed > 0)
	m[mSegments], m[mSutured], m[mGape] = float64(e.segments), bit(e.set.sutured), e.gape()
	m[mImplantSupport], m[mImplantSlip], m[mImplantLost] = e.implantSupport(), e.imp.slip, bit(e.imp.gone)
	m[mCortexPull] = e.cortexPull
	m[mImplantRubs], m[mOpticCaptured] = bit(e.outsideBag() && e.imp.single), bit(e.imp.plane == "capture" && !e.imp.gone)
}

// readBench reads what the bench shows.
func (e *Eye) readBench(m *Measures) {
	s := &e.set
	m[mPedal], m[mBottle], m[mFlow], m[mVacLimit], m[mPower] = float64(s.pedal), s.bottle, s.flow, s.limit, s.power
	m[mWoundOpen], m[mSealed], m[mStained], m[mNearness], m[mClamped] = bit(s.wound == woundOpen), bit(s.sealed), bit(s.stained), s.nearness, bit(s.clamped)
	m[mIrrigation], m[mAspirating], m[mUltrasound] = bit(s.irrigating()), bit(s.drawing()), bit(s.ultrasound())
}

func (e *Eye) endothelialLoss() float64 { return -100 * math.Expm1(-e.endo) }

// Outcome sums up the run so far.
func (e *Eye) Outcome() Outcome {
	tilt, _ := e.bag.tilt(e.strainingP())
	o := Outcome{
		NewDialysisHours: 12 * float64(e.bag.broken-e.brokenAtReset) / float64(e.bag.n), DialysisHours: e.bag.missing(),
		PeakLoadRatio: e.peak, OffsetMM: e.offset(), TiltDeg: tilt, Wobble: e.bag.wobble,
		Supported: e.supported(), SupportLost: e.lost,
		VitreousCutUL: e.vcut, VitreousLeftUL: e.vp + 5*e.wound, VitreousTotalUL: e.vcut + e.vout + e.vp, WoundStrand: e.wound,
		TractionMNS: e.traction, TractionHazard: -math.Expm1(-e.traction / 15),
		Rent: e.rent, RentHazard: -math.Expm1(-e.capHazard),
		LowestDepthMM: e.lowDepth, ShallowSeconds: e.shallow, HighestIOP: e.highIOP, LowestIOP: e.lowIOP, HardSeconds: e.hard,
		IrisDamage: e.iris.damage, ChoroidBloodUL: e.behind.blood, MembraneFlap: e.flap, ImplantLost: e.imp.gone,
		CDE: e.cde, EndothelialLossPct: e.endothelialLoss(), BurnSeconds: e.burn, LensLeftUL: e.lens, Seconds: e.Time(),
	}
	if e.lost {
		o.TiltDeg = 0
	}
	return o
}
