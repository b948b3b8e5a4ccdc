package eye

import "testing"

// Every number of the starting eye can be set by its name, out of its range it is refused with
// the range, and a written zero of lens matter means none.
func TestSpecFields(t *testing.T) {
	for _, f := range SpecFields() {
		var s Spec
		f.Set(&s, f.Max)
		if err := s.Check(); err != nil {
			t.Errorf("%s at %g: %v", f.Name, f.Max, err)
		}
		f.Set(&s, 2*f.Max+1)
		if err := s.Check(); err == nil {
			t.Errorf("%s: %g was accepted", f.Name, 2*f.Max+1)
		}
	}
	var s Spec
	for _, f := range SpecFields() {
		if f.Name == "lens" {
			f.Set(&s, 0)
		}
	}
	if m := mustNew(t, s, 1).Measures(); m[mLens] != 0 {
		t.Errorf("a written zero of lens matter left %g uL", m[mLens])
	}
}

// The zonules asked about are those of the bag: a gap is broken, the edge beside it carries
// most of a pull, a ring spreads it, and the question changes nothing.
func TestZonules(t *testing.T) {
	e := mustNew(t, Spec{LensUL: -1, DialysisHours: 3, DialysisAt: 6, Weibull: 30}, 1)
	before := e.Measures()
	broken, most, at := 0, 0.0, 0.0
	for _, z := range e.Zonules(7.75, 2) {
		if z.Broken {
			broken++
		}
		if z.Load > most {
			most, at = z.Load, z.Hour
		}
	}
	if broken != 18 || abs(at-7.7) > 0.3 || e.Measures() != before {
		t.Errorf("%d broken, most at %.2f o'clock", broken, at)
	}
	if _, err := e.Apply(Action{Verb: "ring"}); err != nil {
		t.Fatal(err)
	}
	ringed := 0.0
	for _, z := range e.Zonules(7.75, 2) {
		ringed = max(ringed, z.Load)
	}
	if ringed > 0.7*most {
		t.Errorf("the ring lowers the load only from %.3f to %.3f mN", most, ringed)
	}
}
