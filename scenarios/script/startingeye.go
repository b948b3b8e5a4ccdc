package script

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/eye"
)

// StartingEye is the eye a drill begins with, as written.
type StartingEye struct {
	Terms     []Argument // by name, in the order of the manual
	Fragments []LoosePiece
	Cortex    []Term // sectors still holding cortex; nil for all twelve
	NoCortex  bool   // cortex: none
}

// LoosePiece is a loose piece of the nucleus at the start.
type LoosePiece struct{ Hour, Volume Term }

// eyeField says how a key of the starting eye is read. Ranges are the eye's own (eye.Spec.Check).
type eyeField struct {
	name, unit, meaning string
	hour                bool
	set                 func(*eye.Spec, float64)
}

var eyeFields = []eyeField{
	{"strength", "", "strength of the zonules relative to a healthy eye", false, func(s *eye.Spec, x float64) { s.Strength = x }},
	{"stiffness", "", "stiffness of the zonules relative to a healthy eye", false, func(s *eye.Spec, x float64) { s.Stiffness = x }},
	{"weibull", "", "shape of the strength distribution; small is uneven", false, func(s *eye.Spec, x float64) { s.Weibull = x }},
	{"edge", "", "strength factor of the zonules beside a gap", false, func(s *eye.Spec, x float64) { s.Edge = x }},
	{"grade", "", "hardness of the nucleus, 1 to 6", false, func(s *eye.Spec, x float64) { s.Grade = x }},
	{"dialysis", "h", "clock hours of zonules missing at the start", false, func(s *eye.Spec, x float64) { s.DialysisHours = x }},
	{"dialysis_at", "", "clock hour of the middle of that gap", true, func(s *eye.Spec, x float64) { s.DialysisAt = x }},
	{"lens", "uL", "lens matter in the bag", false, func(s *eye.Spec, x float64) { s.LensUL = noneIfZero(x) }},
	{"adhesion", "", "of the nucleus to the capsule, 0 to 1", false, func(s *eye.Spec, x float64) { s.Adhesion = x }},
	{"vitreous", "uL", "gel in the chamber already", false, func(s *eye.Spec, x float64) { s.VitreousUL = x; s.HyaloidBreached = s.HyaloidBreached || x > 0 }},
	{"strand", "", "a strand engaged at the port, 0 to 1", false, func(s *eye.Spec, x float64) { s.Strand = x; s.HyaloidBreached = s.HyaloidBreached || x > 0 }},
}

// noneIfZero keeps a written zero apart from the eye's default for the zero value.
func noneIfZero(x float64) float64 {
	if x == 0 {
		return -1
	}
	return x
}

// Spec fills the circumstances into the starting eye.
func (e StartingEye) Spec(c Circumstances) (eye.Spec, error) {
	var s eye.Spec
	for _, t := range e.Terms {
		i := slices.IndexFunc(eyeFields, func(f eyeField) bool { return f.name == t.Name })
		x, err := t.Term.number(eyeFields[i].unit, eyeFields[i].hour, false, c)
		if err != nil {
			return s, fmt.Errorf("%s: %w", t.Name, err)
		}
		eyeFields[i].set(&s, x)
	}
	for _, p := range e.Fragments {
		h, err := p.Hour.number("", true, false, c)
		if err != nil {
			return s, err
		}
		v, err := p.Volume.number("uL", false, false, c)
		if err != nil {
			return s, err
		}
		s.Fragments = append(s.Fragments, eye.Fragment{Hour: h, UL: v})
	}
	if e.NoCortex || e.Cortex != nil {
		s.Cortex = []int{}
	}
	for _, t := range e.Cortex {
		x, err := t.number("", true, true, c)
		if err != nil {
			return s, err
		}
		if sector := int(x) % 12; !slices.Contains(s.Cortex, sector) {
			s.Cortex = append(s.Cortex, sector)
		}
	}
	return s, s.Check()
}

// startingEye reads the eye section and tries it in every variant.
func (r *reader) startingEye(raw map[string]any) StartingEye {
	var e StartingEye
	before := len(r.problems)
	for _, f := range eyeFields {
		v, ok := raw[f.name]
		if !ok {
			continue
		}
		if t, ok := r.term(v, eye.Arg{Name: f.name, Unit: f.unit}, []any{"eye", f.name}); ok {
			e.Terms = append(e.Terms, Argument{f.name, t})
		}
	}
	for _, key := range r.doc.Keys("eye") {
		switch {
		case key == "fragments":
			e.Fragments = r.pieces(raw[key])
		case key == "cortex":
			e.Cortex, e.NoCortex = r.cortex(raw[key])
		case !slices.ContainsFunc(eyeFields, func(f eyeField) bool { return f.name == key }):
			var names []string
			for _, f := range eyeFields {
				names = append(names, f.name)
			}
			names = append(names, "fragments", "cortex")
			r.fail(fmt.Sprintf("the starting eye has no %q", key), nearest(key, names, "it has "+strings.Join(names, ", ")), "eye", key)
		}
	}
	if len(r.problems) > before || r.broken {
		return e
	}
	for _, v := range r.variants {
		for _, val := range v.Values {
			for _, x := range val.extremes() {
				c := v.Draw(0)
				c[val.Name] = x
				if _, err := e.Spec(c); err != nil {
					r.fail(fmt.Sprintf("%s in the variant %s", err, v.Name), "keep every variant within the range", "eye")
					return e
				}
			}
		}
		if len(v.Values) == 0 {
			if _, err := e.Spec(nil); err != nil {
				r.fail(err.Error(), "", "eye")
				return e
			}
		}
	}
	return e
}

func (r *reader) pieces(raw any) []LoosePiece {
	list, ok := raw.([]any)
	if !ok {
		r.fail("fragments wants a list", "write [{hour: 4, volume: 40 uL}, ...]", "eye", "fragments")
		return nil
	}
	var out []LoosePiece
	for i, item := range list {
		m, _ := item.(map[string]any)
		var p LoosePiece
		hour, ok1 := r.term(m["hour"], eye.Arg{Name: "hour"}, []any{"eye", "fragments", i, "hour"})
		volume, ok2 := r.term(m["volume"], eye.Arg{Name: "volume", Unit: "uL"}, []any{"eye", "fragments", i, "volume"})
		p.Hour, p.Volume = hour, volume
		if ok1 && ok2 && len(m) != 2 {
			r.fail("a loose piece has an hour and a volume, no more", "write {hour: 4, volume: 40 uL}", "eye", "fragments", i)
		}
		out = append(out, p)
	}
	return out
}

func (r *reader) cortex(raw any) ([]Term, bool) {
	if raw == "none" {
		return nil, true
	}
	list, ok := raw.([]any)
	if !ok || len(list) == 0 {
		r.fail("cortex wants a list of sectors", "write [1, 2, 3], or none, or leave it out for all twelve", "eye", "cortex")
		return nil, false
	}
	var out []Term
	for i, item := range list {
		if t, ok := r.term(item, eye.Arg{Name: "sector"}, []any{"eye", "cortex", i}); ok {
			out = append(out, t)
		}
	}
	return out, false
}
