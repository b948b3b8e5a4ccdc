package eye

import (
	"math"
	"reflect"
	"strings"
	"testing"
)

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

// Parameters an eye cannot be computed with are refused by name, each of them.
func TestParamsCheck(t *testing.T) {
	typ := reflect.TypeFor[Params]()
	for i := range typ.NumField() {
		if typ.Field(i).Type.Kind() != reflect.Float64 {
			continue
		}
		name := typ.Field(i).Name
		for _, x := range []float64{math.NaN(), -1} {
			p := DefaultParams()
			reflect.ValueOf(&p).Elem().Field(i).SetFloat(x)
			if _, err := NewWith(Spec{}, 1, p); err == nil || !strings.Contains(err.Error(), "parameter "+name+" ") {
				t.Errorf("%s = %g: %v", name, x, err)
			}
		}
		// At 0, where that is allowed, the eye is still an eye.
		p := DefaultParams()
		reflect.ValueOf(&p).Elem().Field(i).SetFloat(0)
		e, err := NewWith(bad, 1, p)
		if (err != nil) != divides[name] {
			t.Errorf("%s = 0: %v", name, err)
		} else if err == nil {
			for _, a := range script[:12] {
				e.Apply(a)
			}
			if !sound(t, e, e.Measures()) {
				t.Errorf("%s = 0: no sound eye", name)
			}
		}
	}
	for _, n := range []int{0, 20, 73, 1200} {
		p := DefaultParams()
		p.N = n
		if _, err := NewWith(Spec{}, 1, p); err == nil || !strings.Contains(err.Error(), "multiple of 12") {
			t.Errorf("N = %d: %v", n, err)
		}
	}
}
