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

// eyeFields are the numbers of the starting eye: the eye's own table.
var eyeFields = eye.SpecFields()

// tornKey says, true or false, that the edge of the capsulotomy has a tear. It is no number.
const tornKey = "capsulotomy_torn"

// isHourField reports whether a field counts clock hours, so that sums wrap.
func isHourField(name string) bool { return name == "dialysis_at" }

func eyeKeys() []string {
	var names []string
	for _, f := range eyeFields {
		names = append(names, f.Name)
	}
	return append(names, tornKey, "fragments", "cortex")
}

// Spec fills the circumstances into the starting eye.
func (e StartingEye) Spec(c Circumstances) (eye.Spec, error) {
	var s eye.Spec
	for _, t := range e.Terms {
		if t.Term.Word != "" {
			s.CapsulotomyTorn = t.Term.Word == "true"
			continue
		}
		f := eye.SpecField{}
		if i := slices.IndexFunc(eyeFields, func(f eye.SpecField) bool { return f.Name == t.Name }); i >= 0 {
			f = eyeFields[i]
		}
		x, err := t.Term.number(f.Unit, isHourField(t.Name), false, c)
		if err != nil {
			return s, fmt.Errorf("%s: %w", t.Name, err)
		}
		if t.Name == tornKey {
			s.CapsulotomyTorn = x != 0
			continue
		}
		f.Set(&s, x)
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
		v, ok := raw[f.Name]
		if !ok {
			continue
		}
		if t, ok := r.term(v, eye.Arg{Name: f.Name, Unit: f.Unit}, []any{"eye", f.Name}); ok {
			e.Terms = append(e.Terms, Argument{f.Name, t})
		}
	}
	if v, ok := raw[tornKey]; ok {
		if t, ok := r.torn(v); ok {
			e.Terms = append(e.Terms, Argument{tornKey, t})
		}
	}
	for _, key := range r.doc.Keys("eye") {
		switch {
		case key == "fragments":
			e.Fragments = r.pieces(raw[key])
		case key == "cortex":
			e.Cortex, e.NoCortex = r.cortex(raw[key])
		case !slices.Contains(eyeKeys(), key):
			r.fail(fmt.Sprintf("the starting eye has no %q", key), nearest(key, eyeKeys(), "it has "+strings.Join(eyeKeys(), ", ")), "eye", key)
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

// torn reads true, false, or a circumstance.
func (r *reader) torn(raw any) (Term, bool) {
	if yes, ok := raw.(bool); ok {
		return Term{Word: fmt.Sprint(yes)}, true
	}
	if s, ok := raw.(string); ok {
		if m := termForm.FindStringSubmatch(s); m != nil && m[3] == "" {
			return r.circumstance(m, []any{"eye", tornKey})
		}
	}
	r.fail(tornKey+" wants true or false", "write true, false, or a circumstance that is one of them", "eye", tornKey)
	return Term{}, false
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
