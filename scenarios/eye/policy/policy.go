// Package policy plays fixed plans on model eyes, to show that the eye expresses what
// its lessons say: a recommended sequence after zonules were found broken at a chop, and
// single deviations from it. Plans and eyes are those the model was tried on;
// they are not scenarios and no advice.
package policy

import (
	"fmt"

	"zonule/scenarios/eye"
)

// Case is a starting eye and the chop that preceded the decision.
type Case struct {
	Name, Meaning string
	Spec          eye.Spec
	Force         string  // of the chop
	Stop          float64 // its travel, mm
}

// Plan is a sequence of decisions as deviations from the recommended one; the zero
// value is the recommended one.
type Plan struct {
	Name, Meaning  string
	WithdrawAtOnce bool // withdraws at once, viscoelastic afterwards; later withdrawals dry too
	KeepAspirating bool // goes on at pedal 3 for up to 60 s
	RaiseSettings  bool // high bottle, flow and vacuum
	WeakFirst      bool // strips the weak sector first and radially
	NoCutting      bool // aspirates visible gel and pulls
	NoRing         bool
	Hooks          bool    // adds hooks
	Think          float64 // seconds that pass before each action, pedal as it is
}

const weakHour = 4

// Cases lists the eyes.
func Cases() []Case {
	with := func(s eye.Spec) eye.Spec {
		s.DialysisAt, s.LensUL = weakHour, 120
		s.Fragments = []eye.Fragment{{Hour: weakHour + 4, UL: 40}, {Hour: weakHour + 8, UL: 40}, {Hour: weakHour, UL: 40}}
		return s
	}
	return []Case{
		{"A", "mild trauma, 2 h", with(eye.Spec{DialysisHours: 2, Strength: 0.85, Stiffness: 0.95, Weibull: 10, Edge: 0.6, Grade: 3}), "normal", 0.9},
		{"B", "pseudoexfoliation", with(eye.Spec{Strength: 0.35, Stiffness: 0.6, Weibull: 7, Edge: 1, Grade: 4}), "rough", 1.0},
		{"C", "large dialysis, 5 h", with(eye.Spec{DialysisHours: 5, Strength: 0.8, Stiffness: 0.9, Weibull: 10, Edge: 0.7, Grade: 3}), "normal", 0.9},
		{"H", "healthy, control", with(eye.Spec{Weibull: 10, Grade: 3}), "normal", 0.9},
	}
}

// Plans lists P0 to P9.
func Plans() []Plan {
	return []Plan{
		{Name: "P0", Meaning: "recommended"},
		{Name: "P1", Meaning: "withdraw at once", WithdrawAtOnce: true},
		{Name: "P2", Meaning: "keep aspirating", KeepAspirating: true},
		{Name: "P3", Meaning: "raise bottle and vacuum", RaiseSettings: true},
		{Name: "P4", Meaning: "weak sector first, radially", WeakFirst: true},
		{Name: "P5", Meaning: "pull vitreous, no cutting", NoCutting: true},
		{Name: "P6", Meaning: "no ring", NoRing: true},
		{Name: "P7", Meaning: "all of these wrong", WithdrawAtOnce: true, KeepAspirating: true, RaiseSettings: true, WeakFirst: true, NoCutting: true, NoRing: true},
		{Name: "P8", Meaning: "recommended and hooks", Hooks: true},
		{Name: "P9", Meaning: "no ring, weak sector first, radially", WeakFirst: true, NoRing: true},
	}
}

// Lookup finds a case and a plan by name.
func Lookup(caseName, planName string) (Case, Plan, error) {
	for _, c := range Cases() {
		if c.Name != caseName {
			continue
		}
		for _, p := range Plans() {
			if p.Name == planName {
				return c, p, nil
			}
		}
		return Case{}, Plan{}, fmt.Errorf("no plan %q; they are P0 to P9", planName)
	}
	return Case{}, Plan{}, fmt.Errorf("no case %q; they are A, B, C and H", caseName)
}

// Play plays a plan on a case with a seed and returns the eye at the end. The error is
// that of the action that could not be done; a plan goes on without an action that the
// eye refuses because the bag or the capsule gave way.
func Play(c Case, p Plan, seed uint64) (*eye.Eye, error) {
	return play(c, p, func() (*eye.Eye, error) { return eye.New(c.Spec, seed) })
}

// PlayWith is Play with other parameters, for studies.
func PlayWith(c Case, p Plan, seed uint64, par eye.Params) (*eye.Eye, error) {
	return play(c, p, func() (*eye.Eye, error) { return eye.NewWith(c.Spec, seed, par) })
}

func play(c Case, p Plan, born func() (*eye.Eye, error)) (*eye.Eye, error) {
	e, err := born()
	if err != nil {
		return nil, err
	}
	s := &surgeon{e: e, think: p.Think}
	s.opening(c)
	s.firstMoves(p)
	s.pieces(p)
	s.cortex(p)
	s.implant(p)
	return e, s.err
}
