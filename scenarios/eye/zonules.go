package eye

import "math"

// Zonule is one segment of the fibres that hold the bag.
type Zonule struct {
	Hour   float64 // clock hour, above 0 to 12
	Load   float64 // mN
	Share  float64 // of its strength
	Broken bool
}

// Zonules says what each segment would carry, in the order of the clock from 12, under the
// present pressures and an inward pull (mN, 0 to 40, spread over 15 degrees of the rim) at a
// clock hour. Nothing is changed and nothing breaks; it is a question, for charts.
func (e *Eye) Zonules(hour, pull float64) []Zonule {
	b := e.bag.clone()
	b.rest()
	u, v := b.u, b.v
	var t *tool
	if pull = min(max(pull, 0), 40); pull > 0 {
		t = &tool{onRim: true, node: b.node(hour), spread: 1, fr: -pull, stop: 2}
		b.under(t)
		u, v = b.ws.u, b.ws.v
	}
	b.pushed(e.strainingP(), t)
	p, out := &b.par, make([]Zonule, b.n)
	for i := range out {
		z := Zonule{Hour: b.hour(float64(i)), Broken: !b.alive[i]}
		if b.alive[i] {
			r, s, w := max(0, p.T0-p.Kr*u[i]), p.Kt*v[i], p.Kz*b.ws.w[i]
			z.Load = b.ds * b.kf[i] * math.Sqrt(r*r+s*s+w*w)
			z.Share = z.Load / b.strength[i]
		}
		out[i] = z
	}
	return out
}
