package eye

import (
	"math"
	"os"
	"testing"
)

// chance draws test cases; a stream of the model serves well, before it the bytes a fuzzer
// gives, two to a draw.
type chance struct {
	stream
	bytes []byte
}

func (c *chance) next() uint64 {
	if len(c.bytes) < 2 {
		return c.stream.next()
	}
	v := uint64(c.bytes[0])<<8 | uint64(c.bytes[1])
	c.bytes = c.bytes[2:]
	v *= 0x9E3779B97F4A7C15 // spread over high and low bits
	return v ^ v>>32
}

func (c *chance) uniform() float64 { return (float64(c.next()>>11) + 0.5) / (1 << 53) }

func (c *chance) within(lo, hi float64) float64 { return lo + (hi-lo)*c.uniform() }
func (c *chance) pick(n int) int                { return int(c.next() % uint64(n)) }

func (c *chance) spec() Spec {
	s := Spec{
		Strength: c.within(0.05, 2), Stiffness: c.within(0.05, 2), Weibull: c.within(2, 30), Edge: c.within(0.05, 2),
		Grade: c.within(1, 6), DialysisAt: c.within(0, 12), LensUL: c.within(-50, 300), Adhesion: c.uniform(),
	}
	if c.pick(2) == 0 {
		s.DialysisHours = c.within(0, 12)
	}
	if c.pick(3) == 0 {
		s.HyaloidBreached, s.VitreousUL, s.Strand = true, c.within(0, 100), c.uniform()
	}
	if c.pick(2) == 0 {
		c.beyond(&s)
	}
	for left := s.LensUL; left > 30 && c.pick(3) > 0 && len(s.Fragments) < 6; left -= 30 {
		s.Fragments = append(s.Fragments, Fragment{c.within(0, 12), c.within(1, 30)})
	}
	return s
}

// beyond draws what lies beyond the ordinary eye.
func (c *chance) beyond(s *Spec) {
	for i := range specFields {
		f := &specFields[i]
		if *f.at(s) == 0 && c.pick(3) == 0 && f.Name != "dialysis" && f.Name != "vitreous" && f.Name != "strand" {
			*f.at(s) = c.within(f.Min, f.Max)
		}
	}
	s.CapsulotomyTorn = c.pick(4) == 0
}

// action draws a well-formed action: arguments anywhere in their ranges, or left out;
// times are kept short so that many fit.
func (c *chance) action() Action {
	vs := verbTable[:]
	v := vs[c.pick(len(vs))]
	if c.pick(4) == 0 { // keep instruments going in and coming out
		v, _ = LookupVerb([]string{"enter", "pedal", "withdraw", "ovd", "implant"}[c.pick(5)])
	}
	a := Action{Verb: v.Name, Num: nums{}, Word: words{}}
	for _, arg := range v.Args {
		if !arg.Required && c.pick(2) == 0 {
			continue
		}
		switch {
		case arg.FreeWord:
			a.Word[arg.Name] = "stop"
		case arg.IsWord():
			a.Word[arg.Name] = arg.Words[c.pick(len(arg.Words))]
		default:
			hi := arg.Max
			if arg.Name == "for" {
				hi = 4
			}
			x := c.within(arg.Min, hi)
			switch c.pick(8) {
			case 0:
				x = arg.Min
			case 1:
				x = hi
			}
			if arg.Whole {
				x = math.Round(x)
			}
			if arg.Name == "strokes" {
				x = min(x, 5)
			}
			a.Num[arg.Name] = x
		}
	}
	return a
}

// sound is the one checker of what must hold of any eye at any time.
func sound(t *testing.T, e *Eye, m Measures) bool {
	t.Helper()
	ok := true
	bad := func(format string, args ...any) { t.Helper(); t.Errorf(format, args...); ok = false }
	for i, x := range m {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			bad("%s is %v", measureTable[i].Name, x)
		}
	}
	for _, i := range []int{mPhi, mStrand, mWoundStrand, mOccluded, mTractionHazard, mRentHazard, mProlapse, mFlap, mAir, mGapOVD, mGape, mImplantSupport} {
		if m[i] < 0 || m[i] > 1 {
			bad("%s is %g, not within 0..1", measureTable[i].Name, m[i])
		}
	}
	for _, i := range []int{mDepth, mVacuum, mLens, mVp, mVcut, mVleft, mVlost, mTraction, mGapArea, mCDE, mHarm, mFragments, mIrisDamage, mAstray, mBlood, mImplantSlip} {
		if m[i] < 0 {
			bad("%s is %g, negative", measureTable[i].Name, m[i])
		}
	}
	if m[mDialysis] > 12 || m[mNewDialysis] < 0 {
		bad("dialysis %g h, new %g h", m[mDialysis], m[mNewDialysis])
	}
	if m[mIOP] < -60 || m[mIOP] > 200 || m[mEndothelium] > 100 || m[mWobble] > 99 {
		bad("pressure %g mmHg, loss %g %%, wobble %g", m[mIOP], m[mEndothelium], m[mWobble])
	}
	if m[mPupil] < smallestPupil-1e-9 || m[mPupil] > 10.4 {
		bad("pupil %g mm", m[mPupil])
	}
	if chamber := e.par.VAC + e.x; chamber < 0 || e.vo < 0 {
		bad("chamber %g uL, viscoelastic %g uL", chamber, e.vo)
	}
	if e.bag.ws != nil && e.bag.ws.mostPasses >= maxPasses {
		bad("the bag took %d passes", e.bag.ws.mostPasses)
	}
	return ok
}

// Whatever is done to whatever eye, it stays an eye. ZONULE_LONG=1 does 10,000 actions
// on each of 60 eyes; the default is a sample of that.
func TestRandomActionsStaySound(t *testing.T) {
	eyes, actions := 60, 80
	if os.Getenv("ZONULE_LONG") != "" {
		actions = 10000
	}
	done, refused := map[string]int{}, map[string]int{}
	for seed := range uint64(eyes) {
		c := chance{stream: newStream(seed, "random actions")}
		spec := c.spec()
		e, err := New(spec, seed)
		if err != nil {
			t.Fatalf("%+v: %v", spec, err)
		}
		for n := range actions {
			a := c.action()
			before := e.Measures()
			r, err := e.Apply(a)
			if err != nil {
				if _, ok := err.(*Refusal); !ok || e.Measures() != before {
					t.Fatalf("seed %d action %d %+v: %v; refusals must change nothing", seed, n, a, err)
				}
				refused[a.Verb]++
				continue
			}
			done[a.Verb]++
			if r.End < r.Start || r.End-r.Start > maxSeconds || !within(&r) {
				t.Fatalf("seed %d action %d %+v: times or extremes out of order", seed, n, a)
			}
			if !sound(t, e, e.Measures()) || !sound(t, e, r.Low) || !sound(t, e, r.High) {
				t.Fatalf("seed %d action %d: %+v on %+v", seed, n, a, spec)
			}
		}
	}
	for _, v := range Verbs() {
		if done[v.Name] == 0 {
			t.Errorf("%s was never done (refused %d times)", v.Name, refused[v.Name])
		}
	}
}

// within: marks in order and inside the action, extremes around the end state.
func within(r *Result) bool {
	last := r.Start
	for _, m := range r.Marks {
		if m.At < last || m.At > r.End {
			return false
		}
		last = m.At
	}
	for i := range r.After {
		if r.After[i] < r.Low[i] || r.After[i] > r.High[i] {
			return false
		}
	}
	return true
}
