package eye

import "math"

// globe turns volumes into pressures. x is the volume of the anterior compartment
// above its neutral one, u what left the posterior compartment, both uL.
//
// With no outside pressure and a stiff diaphragm it is Friedenwald's law (1937),
// dV = ln(P2/P1)/K.
type globe struct {
	k, amp, ext  float64 // 1/uL, mmHg, mmHg
	invCd        float64 // mmHg/uL
	flat, kFlat  float64 // uL, mmHg/uL
	lastX, lastE float64 // the last exponent and its exponential: it is asked twice for one instant
	soft         float64 // how much softer the diaphragm is than bag and iris make it; 1 but in a blocked pupil
}

// newGlobe takes the outside pressure in force now; the elastic amplitude is that of
// the quiet eye, so that a squeeze adds to the pressure at any volume.
func newGlobe(p *Params, ext, kd float64) globe {
	g := globe{k: p.K, amp: p.PRef - p.PExt, ext: ext, flat: -0.95 * p.VAC, kFlat: p.KFlat, lastE: 1, soft: 1}
	g.setDiaphragm(p, kd)
	return g
}

// setDiaphragm takes the diaphragm's stiffness, mN/mm; its compliance in volume is
// 0.133322 Ad^2 / kd.
func (g *globe) setDiaphragm(p *Params, kd float64) {
	g.invCd = kd / (mmHgInMN * p.Ad * p.Ad) / g.soft
}

func (g *globe) exp(d float64) float64 {
	if d != g.lastX {
		g.lastX, g.lastE = d, math.Exp(g.k*d)
	}
	return g.lastE
}

// vitreous is the pressure behind the diaphragm.
func (g *globe) vitreous(x, u float64) float64 { return g.ext + g.amp*g.exp(x-u) }

// chamber is the pressure before it. A flat chamber grows stiffer as the last 8 uL
// go, so that no squeeze can press its volume below nothing.
func (g *globe) chamber(x, u float64) float64 {
	p := g.vitreous(x, u) + x*g.invCd
	if x < g.flat {
		d := g.flat - x
		p -= g.kFlat * d * (1 + d*d/9)
	}
	return p
}

// slope is the derivative of the chamber pressure by x.
func (g *globe) slope(x, u float64) float64 {
	s := g.k*g.amp*g.exp(x-u) + g.invCd
	if x < g.flat {
		d := g.flat - x
		s += g.kFlat * (1 + d*d/3)
	}
	return s
}

// depthOf is the depth of the chamber in mm, a paraboloid over a fixed base.
func (p *Params) depthOf(x float64) float64 { return p.ACD * math.Sqrt(max(0, 1+x/p.VAC)) }
