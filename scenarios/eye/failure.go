package eye

import "math"

// strain puts a tool (nil for none) on the bag under a pressure difference and lets
// zonules break, the most overloaded first and one at a time, each passing its load on,
// until what is left holds. It returns how many broke and leaves peak, worst and load
// of the hardest moment, and the bag under the tool in ws.u, ws.v.
func (b *bag) strain(t *tool, dP float64) (broke int) {
	b.peak, b.load, b.worst = 0, 0, 0
	for range b.n + 1 {
		b.rest()
		u, v := b.u, b.v
		if t != nil {
			b.under(t)
			u, v = b.ws.u, b.ws.v
		}
		b.pushed(dP, t)
		ratio, node, load := b.ratios(u, v, b.ws.w)
		if ratio > b.peak {
			b.peak, b.worst = ratio, node
		}
		b.load = max(b.load, load)
		if ratio < 1 {
			return broke
		}
		b.snap(node)
		b.changed()
		broke++
	}
	return broke
}

// ratios gives the highest load over strength, its node (the lowest on a tie), and the
// largest load in mN.
func (b *bag) ratios(u, v, w []float64) (ratio float64, node int, load float64) {
	p := &b.par
	for i := range b.n {
		if !b.alive[i] {
			continue
		}
		r, t, z := max(0, p.T0-p.Kr*u[i]), p.Kt*v[i], p.Kz*w[i]
		f := b.ds * b.kf[i] * math.Sqrt(r*r+t*t+z*z)
		load = max(load, f)
		if q := f / b.strength[i]; q > ratio {
			ratio, node = q, i
		}
	}
	return ratio, node, load
}
