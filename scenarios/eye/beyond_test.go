package eye

import "testing"

// after plays actions on a clone and gives the measures at the end.
func after(t *testing.T, e *Eye, as ...Action) Measures {
	t.Helper()
	c := e.Clone()
	for _, a := range as {
		if _, err := c.Apply(a); err != nil {
			t.Fatal(err)
		}
	}
	return c.Measures()
}

func act(verb string, rest ...any) Action {
	a := Action{Verb: verb, Num: nums{}, Word: words{}}
	for i := 0; i+1 < len(rest); i += 2 {
		switch x := rest[i+1].(type) {
		case string:
			a.Word[rest[i].(string)] = x
		case float64:
			a.Num[rest[i].(string)] = x
		case int:
			a.Num[rest[i].(string)] = float64(x)
		}
	}
	return a
}

func hold(pedal, seconds float64) Action { return act("pedal", "position", pedal, "for", seconds) }

// An ordinary eye has nothing beyond it: the parts sleep whatever is done to it, and
// their measures stand still.
func TestOrdinaryEyeSleeps(t *testing.T) {
	e := mustNew(t, bad, 7)
	before := e.Measures()
	long(t, e, func(a Action) {
		if e.awake {
			t.Fatalf("after %s something beyond the ordinary eye is awake", a.Verb)
		}
	})
	m := e.Measures()
	for i := mPupil; i < int(NumMeasures); i++ {
		if i != mCortexPull && i != mSutured && m[i] != before[i] {
			t.Errorf("%s went from %g to %g", measureTable[i].Name, before[i], m[i])
		}
	}
}

// A limp iris: less flow, hooks and the drug each keep the pupil wider; stretching does
// not last as hooks do, and harms.
func TestFloppyIris(t *testing.T) {
	p := play(t, Spec{FloppyIris: 0.8, PupilMM: 6}, 1)
	draw := func(bottle, flow float64) []Action {
		return []Action{act("machine", "bottle", bottle, "flow", flow), act("enter", "instrument", "phaco-tip"), hold(2, 60)}
	}
	high, low := after(t, p.e, draw(100, 40)...), after(t, p.e, draw(60, 18)...)
	hooks := after(t, p.e, append([]Action{act("expand-pupil", "with", "hooks")}, draw(100, 40)...)...)
	drug := after(t, p.e, append([]Action{act("pupil-drug", "kind", "dilating")}, draw(100, 40)...)...)
	stretched := after(t, p.e, append([]Action{act("expand-pupil", "with", "stretch")}, draw(100, 40)...)...)
	if !(low[mPupil] > high[mPupil]+0.5 && hooks[mPupil] >= heldPupil && drug[mPupil] > high[mPupil]+0.5) {
		t.Errorf("pupil after a minute: high settings %.2f, low %.2f, hooks %.2f, drug %.2f mm", high[mPupil], low[mPupil], hooks[mPupil], drug[mPupil])
	}
	if stretched[mPupil] > hooks[mPupil]-1 || stretched[mIrisDamage] <= hooks[mIrisDamage] {
		t.Errorf("stretched: %.2f mm and damage %.2f; hooks %.2f mm and %.2f", stretched[mPupil], stretched[mIrisDamage], hooks[mPupil], hooks[mIrisDamage])
	}
	if low[mProlapse] >= high[mProlapse] {
		t.Errorf("prolapse %.2f at low settings, %.2f at high", low[mProlapse], high[mProlapse])
	}
}

// Iris in the wound stays back only where the pressure that drove it out has gone.
func TestRepositGoesByPressure(t *testing.T) {
	p := play(t, Spec{FloppyIris: 0.9}, 1)
	p.machine(110, 30, 300, 0).enter("phaco-tip").pedal(1, 15)
	against := after(t, p.e, act("reposit-iris"))
	burped := after(t, p.e, hold(0, 0.5), act("burp"), act("reposit-iris"))
	pushed := after(t, p.e, hold(0, 0.5), act("burp"), act("reposit-iris", "from", "same-wound"))
	if burped[mProlapse] > 0.3*against[mProlapse] {
		t.Errorf("in the wound: against pressure %.2f, pressure let off %.2f", against[mProlapse], burped[mProlapse])
	}
	if pushed[mProlapse] <= burped[mProlapse] || pushed[mIrisDamage] <= burped[mIrisDamage] {
		t.Errorf("through the same wound: %.2f and damage %.2f; from another port %.2f and %.2f", pushed[mProlapse], pushed[mIrisDamage], burped[mProlapse], burped[mIrisDamage])
	}
}

// A blocked pupil: the bag carries more; lifting the iris ends it, and an expander keeps
// it from coming.
func TestReversePupilBlock(t *testing.T) {
	go4 := []Action{act("machine", "bottle", 120), act("enter", "instrument", "phaco-tip"), hold(1, 5)}
	e := mustNew(t, Spec{BlockProne: 1}, 1)
	blocked := after(t, e, go4...)
	lifted := after(t, e, append(go4, act("lift-iris"), hold(1, 0.2))...)
	held := after(t, e, append([]Action{act("expand-pupil", "with", "ring")}, go4...)...)
	free := after(t, mustNew(t, Spec{}, 1), go4...)
	if blocked[mPupilBlocked] != 1 || lifted[mPupilBlocked] != 0 || held[mPupilBlocked] != 0 || free[mPupilBlocked] != 0 {
		t.Errorf("blocked %g, lifted %g, held %g, ordinary eye %g", blocked[mPupilBlocked], lifted[mPupilBlocked], held[mPupilBlocked], free[mPupilBlocked])
	}
	if blocked[mDepth] <= lifted[mDepth]+0.05 || blocked[mPeak] <= free[mPeak] {
		t.Errorf("depth %.2f blocked, %.2f lifted; load %.3f blocked, %.3f in an ordinary eye", blocked[mDepth], lifted[mDepth], blocked[mPeak], free[mPeak])
	}
}

// The hard shallow eye by fluid gone astray: irrigation makes it, going on makes it worse,
// waiting, a drip and a tap relieve it, and viscoelastic at the edge keeps it out.
func TestMisdirection(t *testing.T) {
	p := play(t, Spec{Misdirect: 1}, 1)
	p.machine(90, 35, 300, 0).enter("phaco-tip").do("place", nums{"nearness": 0.6}, nil).pedal(2, 90)
	m := p.e.Measures()
	if m[mAstray] < 30 || m[mDepth] > 3 || m[mIOP] < 25 || p.count("shallow-while-irrigating", false) == 0 {
		t.Errorf("after 90 s: %.0f uL astray, depth %.2f mm at %.0f mmHg", m[mAstray], m[mDepth], m[mIOP])
	}
	if r, err := p.e.Clone().Apply(act("look-behind")); err != nil || !has(r, "reflex-clear") {
		t.Errorf("look-behind: %v %v", err, r.Marks)
	}
	more := after(t, p.e, hold(2, 60))
	// The jet turned away, the eye closed and left alone.
	rest := []Action{hold(0, 0), act("withdraw"), act("seal")}
	now := after(t, p.e, rest...)
	waited := after(t, p.e, append(rest, act("wait", "for", 180))...)
	drip := after(t, p.e, append(rest, act("drip"), act("wait", "for", 160))...)
	tapped := after(t, p.e, append(rest, act("tap"))...)
	if more[mAstray] <= m[mAstray] || waited[mAstray] >= now[mAstray] || drip[mAstray] >= waited[mAstray] || tapped[mPv] >= now[mPv] {
		t.Errorf("astray: on %.0f, now %.0f, waited %.0f, drip %.0f uL; vitreous pressure %.1f, tapped %.1f", more[mAstray], now[mAstray], waited[mAstray], drip[mAstray], now[mPv], tapped[mPv])
	}
	full := after(t, p.e, hold(0, 0), act("ovd", "kind", "dispersive"), hold(1, 60))
	plain := after(t, p.e, hold(0, 8), hold(1, 60))
	if full[mAstray] >= plain[mAstray] {
		t.Errorf("astray under viscoelastic %.0f, without %.0f uL", full[mAstray], plain[mAstray])
	}
}

func has(r Result, name string) bool {
	for _, m := range r.Marks {
		if m.Name == name && !m.Off {
			return true
		}
	}
	return false
}

// Speculum and drape: loosening brings the chamber back, and nothing else is wrong.
func TestOutsidePressure(t *testing.T) {
	p := play(t, Spec{OutsideMMHg: 20}, 1)
	p.machine(60, 25, 200, 0).enter("phaco-tip").pedal(2, 5)
	pressed, loose := p.e.Measures(), after(t, p.e, act("loosen"), hold(2, 3))
	if pressed[mDepth] > 3.1 || loose[mDepth] < pressed[mDepth]+0.3 {
		t.Errorf("depth %.2f pressed, %.2f loosened", pressed[mDepth], loose[mDepth])
	}
}

// A bleed under the choroid: closing and firming the eye holds it; an open, soft, coughing
// or tapped eye bleeds more; sedation and pain relief lessen it.
func TestChoroidBleed(t *testing.T) {
	p := play(t, Spec{ChoroidFragile: 1, BloodUL: 5}, 1)
	p.machine(70, 25, 200, 0).enter("phaco-tip").pedal(0, 3)
	run := func(as ...Action) float64 { return after(t, p.e, as...)[mBlood] }
	closed := run(act("withdraw"), act("press-wound"), act("suture"), act("wait", "for", 39))
	slow := run(act("withdraw"), act("wait", "for", 20), act("press-wound"), act("suture"), act("wait", "for", 19))
	left := run(hold(0, 62.5)) // nothing done, pedal off, tip in the wound
	firm := run(hold(1, 62.5)) // held firm by irrigation
	calm := run(act("withdraw"), act("press-wound"), act("calm-patient", "with", "sedation"), act("suture"), act("wait", "for", 19))
	cough := run(act("withdraw"), act("press-wound"), act("cough", "bursts", 6), act("suture"), act("wait", "for", 34.8))
	tap := run(act("withdraw"), act("press-wound"), act("tap", "with", "needle", "amount", 150), act("suture"), act("wait", "for", 31))
	t.Logf("blood after about a minute: closed %.0f, closed late %.0f, left with the tip in %.0f, firm %.0f, sedated %.0f, coughing %.0f, tapped %.0f uL", closed, slow, left, firm, calm, cough, tap)
	if closed >= slow || slow >= left || firm >= left || calm >= closed || cough <= closed || tap <= closed {
		t.Error("closing must hold it; leaving it open, coughing and tapping must not be better")
	}
	grown := after(t, p.e, hold(0, 62.5))
	early := after(t, p.e, hold(0, 15))
	if grown[mDepth] >= early[mDepth]+0.2 || grown[mBlood] <= early[mBlood] {
		t.Errorf("depth %.2f then %.2f, blood %.0f then %.0f", early[mDepth], grown[mDepth], early[mBlood], grown[mBlood])
	}
	if r, err := p.e.Clone().Apply(act("look-behind")); err != nil || !has(r, "reflex-dark") {
		t.Errorf("look-behind: %v %v", err, r.Marks)
	}
}

// Descemet's membrane: force strips it, a jet spreads it (the more the faster), a new port
// spares it, viscoelastic by the side and air lay it back, viscoelastic under it does not.
func TestMembraneFlap(t *testing.T) {
	loose := mustNew(t, Spec{MembraneLoose: 0.6}, 1)
	enter := func(rest ...any) Measures {
		return after(t, loose, act("enter", append([]any{"instrument", "phaco-tip"}, rest...)...))
	}
	smooth, forced, fresh := enter()[mFlap], enter("way", "forced")[mFlap], enter("port", "new")[mFlap]
	if !(forced > smooth && smooth > fresh) || enter("way", "forced")[mFlap] != forced {
		t.Errorf("forced %.3f, smooth %.3f, new port %.3f", forced, smooth, fresh)
	}
	torn := mustNew(t, Spec{MembraneFlap: 0.2}, 1)
	jet := func(flow float64) float64 {
		return after(t, torn, act("machine", "bottle", 90, "flow", flow), act("enter", "instrument", "phaco-tip", "port", "new"), hold(2, 30))[mFlap]
	}
	if a, b, c := jet(5), jet(20), jet(40); !(a < b && b < c) {
		t.Errorf("spread at 5, 20, 40 mL/min: %.3f %.3f %.3f", a, b, c)
	}
	side, under := after(t, torn, act("ovd"))[mFlap], after(t, torn, act("ovd", "port", "main"))[mFlap]
	air := after(t, torn, act("air"))[mFlap]
	if !(side < 0.2 && under > 0.2 && air < side) {
		t.Errorf("from 0.2: viscoelastic by the side %.3f, under it %.3f, air %.3f", side, under, air)
	}
}

// Implant support: over the gap a haptic slips, across it holds; an optic caught in the
// capsulotomy hangs on all zonules and holds where a haptic over the gap does not; a torn
// or wide capsulotomy does not catch an optic.
func TestImplantSupport(t *testing.T) {
	e := mustNew(t, Spec{LensUL: -1, DialysisHours: 3, DialysisAt: 4}, 1)
	put := func(e *Eye, plane string, hour float64) Measures {
		return after(t, e, act("implant", "plane", plane, "hour", hour), act("wait", "for", 30))
	}
	over, across, caught := put(e, "sulcus", 4), put(e, "sulcus", 1), put(e, "capture", 4)
	if over[mImplantLost] != 1 || across[mImplantSlip] > 0.1 || caught[mImplantSlip] > 0.1 {
		t.Errorf("3 h gap: over it lost %g; across it slipped %.2f; captured %.2f mm", over[mImplantLost], across[mImplantSlip], caught[mImplantSlip])
	}
	half := mustNew(t, Spec{LensUL: -1, DialysisHours: 8, DialysisAt: 4}, 1)
	if m := put(half, "capture", 4); m[mImplantSupport] >= 0.5 {
		t.Errorf("8 h gap: captured optic is held %.2f", m[mImplantSupport])
	}
	for _, s := range []Spec{{LensUL: -1, CapsulotomyTorn: true}, {LensUL: -1, CapsulotomyMM: 6.5}} {
		if _, err := mustNew(t, s, 1).Apply(act("implant", "plane", "capture")); err == nil {
			t.Errorf("%+v: an optic was captured", s)
		}
	}
	one := after(t, mustNew(t, Spec{LensUL: -1}, 1), act("implant", "plane", "sulcus", "lens", "one-piece"))
	if one[mImplantRubs] != 1 || across[mImplantRubs] != 0 {
		t.Error("a one-piece lens in the sulcus must rub, a three-piece one not")
	}
	bag := after(t, mustNew(t, Spec{LensUL: -1}, 1), act("implant", "plane", "bag"))
	loose := after(t, mustNew(t, Spec{LensUL: -1, DialysisHours: 6, DialysisAt: 4}, 1), act("implant", "plane", "bag"))
	if bag[mImplantSupport] < 0.9 || loose[mImplantSupport] > 0.5 {
		t.Errorf("in the bag: healthy %.2f, 6 h gap %.2f", bag[mImplantSupport], loose[mImplantSupport])
	}
}

// A sutured segment holds a gap that a ring alone does not.
func TestSegment(t *testing.T) {
	e := mustNew(t, Spec{LensUL: -1, DialysisHours: 6, DialysisAt: 4}, 1)
	ring, both := after(t, e, act("ring")), after(t, e, act("ring"), act("segment"))
	if ring[mSupported] != 0 || both[mSupported] != 1 || both[mSegments] != 1 {
		t.Errorf("6 h: ring alone wobble %.2f offset %.2f; with a segment %.2f, %.2f", ring[mWobble], ring[mOffset], both[mWobble], both[mOffset])
	}
	if _, err := mustNew(t, Spec{CapsulotomyTorn: true}, 1).Apply(act("segment")); err == nil {
		t.Error("a torn capsulotomy took a segment")
	}
}

// The patient: a cough or a start drives what is in the eye against lens and capsule, more
// so than with nothing in the eye; sedation lessens both.
func TestPatientEvents(t *testing.T) {
	p := play(t, Spec{LensUL: 100, Fragments: oneBig}, 1)
	p.machine(80, 25, 250, 0).enter("phaco-tip").pedal(1, 2)
	p.e.ResetCounters()
	for _, event := range []Action{act("startle"), act("cough")} {
		still := after(t, p.e, act("wait", "for", 1))
		moved := after(t, p.e, event)
		calm := after(t, p.e, act("calm-patient", "with", "sedation"), event)
		if !(moved[mPeak] > still[mPeak] && calm[mPeak] < moved[mPeak]) || moved[mRentHazard] < still[mRentHazard] {
			t.Errorf("%s: peak load still %.3f, moved %.3f, sedated %.3f", event.Verb, still[mPeak], moved[mPeak], calm[mPeak])
		}
	}
	a, b := p.e.Clone(), p.e.Clone()
	b.behind.calmed = 0.7
	ra, _ := a.Apply(act("squeeze", "pressure", 30))
	rb, _ := b.Apply(act("squeeze", "pressure", 30))
	if rb.Low[mDepth] <= ra.Low[mDepth] {
		t.Errorf("squeeze: depth down to %.2f, sedated %.2f", ra.Low[mDepth], rb.Low[mDepth])
	}
}

// Irrigation by a separate cannula stirs less gel than by the cutter itself, and the cut
// ends with less gel lost.
func TestSplitInfusion(t *testing.T) {
	for seed := uint64(1); seed <= 5; seed++ {
		e := mustNew(t, withGel, seed)
		cutBy := func(how string) Measures {
			return after(t, e, act("enter", "instrument", "cutter", "irrigation", how), act("cut", "for", 60))
		}
		split, coaxial := cutBy("separate"), cutBy("coaxial")
		if split[mVlost] >= coaxial[mVlost] || split[mVp] > coaxial[mVp] {
			t.Errorf("seed %d: lost %.1f and left %.2f uL by a separate cannula, %.1f and %.2f by the cutter", seed, split[mVlost], split[mVp], coaxial[mVlost], coaxial[mVp])
		}
	}
}

// Viscoelastic put at the gap holds it, where the same amount spread through the chamber
// does not hold as well; it lasts longer if dispersive.
func TestViscoelasticHoldsTheGap(t *testing.T) {
	e := mustNew(t, Spec{DialysisHours: 4, DialysisAt: 4, HyaloidBreached: true, VitreousUL: 5, LensUL: 100}, 1)
	lost := func(where, kind string) Measures {
		return after(t, e, act("ovd", "where", where, "kind", kind, "up_to", 50), act("enter", "instrument", "aspiration-tip"), hold(2, 5), hold(0, 0), act("withdraw"))
	}
	gap, chamber, thin := lost("gap", "dispersive"), lost("chamber", "dispersive"), lost("gap", "cohesive")
	if gap[mVlost] >= chamber[mVlost] || gap[mVlost] > thin[mVlost] {
		t.Errorf("gel in all: at the gap %.1f, in the chamber %.1f, cohesive at the gap %.1f uL", gap[mVlost], chamber[mVlost], thin[mVlost])
	}
}

// Where the back of the capsule is weak, a wave behind the cortex bursts it in many eyes, one
// within the lens in few; rotation adds to it.
func TestPosteriorPolar(t *testing.T) {
	burst := map[string]int{}
	const n = 60
	for seed := range uint64(n) {
		e := mustNew(t, Spec{PolarWeak: 0.6}, seed)
		for _, plane := range []string{"capsule", "within"} {
			c := e.Clone()
			r, err := c.Apply(act("hydrodissect", "plane", plane))
			if err != nil {
				t.Fatal(err)
			}
			if c.rent {
				burst[plane]++
				if !has(r, "pupil-snap") || !has(r, "sudden-deepening") {
					t.Fatal("the capsule burst and nothing was seen")
				}
			}
		}
	}
	t.Logf("burst in %d of %d by a wave behind the cortex, %d within the lens", burst["capsule"], n, burst["within"])
	if burst["capsule"] < n/4 || burst["within"] > n/8 {
		t.Errorf("burst %d and %d of %d", burst["capsule"], burst["within"], n)
	}
}

// A burned wound does not hold by hydration; stitches hold it.
func TestBurnedWoundLeaks(t *testing.T) {
	p := play(t, Spec{LensUL: 100}, 1)
	p.machine(20, 5, 50, 1).enter("phaco-tip").do("clamp", nil, words{"state": "on"}).pedal(3, 20).pedal(0, 0)
	p.do("clamp", nil, words{"state": "off"}).do("withdraw", nil, nil)
	wet, stitched := after(t, p.e, act("seal"), act("hydrodissect"), act("wait", "for", 30)), after(t, p.e, act("suture"), act("hydrodissect"), act("wait", "for", 30))
	if wet[mGape] < 0.5 || stitched[mGape] > 0.15 || stitched[mIOP] < wet[mIOP]+2 {
		t.Errorf("gape %.2f and %.1f mmHg sealed; %.2f and %.1f stitched", wet[mGape], wet[mIOP], stitched[mGape], stitched[mIOP])
	}
}

// A narrow pupil shows a thinner strand in the wound.
func TestNarrowPupilShowsStrands(t *testing.T) {
	p := play(t, Spec{HyaloidBreached: true}, 1)
	p.e.wound = 0.06
	if p.run(1).shows("pupil-peaked") {
		t.Fatal("a thin strand shows in a wide pupil")
	}
	if !p.do("pupil-drug", nil, words{"kind": "constricting"}).run(1).shows("pupil-peaked") {
		t.Error("a thin strand does not show in a narrow pupil")
	}
}

// Long steps while calm change next to nothing beyond the ordinary eye either: over a run of
// nearly two minutes pupil and slip stay within 0.01 mm, volumes within 0.5 uL, shares
// within 0.005, depth within 0.01 mm.
func TestLongStepsBeyond(t *testing.T) {
	spec := Spec{FloppyIris: 0.6, Misdirect: 0.6, ChoroidFragile: 0.8, BloodUL: 5, MembraneFlap: 0.1, BlockProne: 0.5, OutsideMMHg: 4, LensUL: -1, DialysisHours: 2, DialysisAt: 4}
	slow := DefaultParams()
	slow.CalmAfter = 1 << 30
	fast, exact := mustNew(t, spec, 3), func() *Eye { e, _ := NewWith(spec, 3, slow); return e }()
	as := []Action{act("machine", "bottle", 80, "flow", 25), act("enter", "instrument", "aspiration-tip"), hold(2, 30), hold(1, 20), act("cough"), hold(0, 5),
		act("ovd"), act("withdraw"), act("implant", "plane", "sulcus", "hour", 4), act("press-wound"), act("wait", "for", 30)}
	a, b := after(t, fast, as...), after(t, exact, as...)
	for i, tol := range map[int]float64{mPupil: 0.01, mImplantSlip: 0.01, mAstray: 0.5, mBlood: 0.5, mFlap: 0.005, mProlapse: 0.005, mDepth: 0.01, mLowestDepth: 0.01, mIrisDamage: 0.01} {
		if abs(a[i]-b[i]) > tol {
			t.Errorf("%s: %g with long steps, %g without", measureTable[i].Name, a[i], b[i])
		}
	}
	if a[mBlood] < 20 || a[mAstray] < 1 || a[mPupil] > 7.9 {
		t.Errorf("the run tries nothing: blood %.1f, astray %.1f uL, pupil %.2f mm", a[mBlood], a[mAstray], a[mPupil])
	}
}
