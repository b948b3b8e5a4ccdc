package eye

import (
	"math"
	"strings"
	"testing"
)

// uniformBag is the bag of a B row: uniform strengths, no hand factor.
func uniformBag(c check) (*bag, *tool) {
	b := defaultShape.newBag()
	b.lens = c.get("f")
	b.ring = c.get("ring") == 1
	b.open(c.get("hrs"), c.or("cen", 6), 1)
	var tl *tool
	switch {
	case c.get("core") == 1:
		tl = &tool{onCore: true, fx: c.get("fx"), fy: c.get("fy"), moment: c.get("m"), stop: c.get("stop")}
	case c.get("fr") != 0 || c.get("ft") != 0:
		tl = &tool{onRim: true, node: b.node(c.get("nh")), spread: int(c.or("spread", 1)), fr: c.get("fr"), ft: c.get("ft"), stop: c.get("stop")}
	}
	return b, tl
}

func checkBag(t *testing.T, c check) float64 {
	b, tl := uniformBag(c)
	b.rest()
	u, v := b.u, b.v
	if tl != nil {
		b.under(tl)
		u, v = b.ws.u, b.ws.v
	}
	b.pushed(c.get("dP"), tl)
	ratio, _, load := b.ratios(u, v, b.ws.w)
	switch q := c.quantity; {
	case strings.HasSuffix(q, "bag offset"):
		return math.Hypot(b.offset(u, v))
	case strings.HasSuffix(q, "gap area"):
		return b.gapArea(c.get("dP"))
	case strings.HasSuffix(q, "peak load/strength"):
		return ratio
	case strings.HasSuffix(q, "largest segment load"):
		return load
	}
	deg, _ := b.tilt(c.get("dP"))
	return deg
}

// plainRing is a ring of nodes on an elastic foundation: no core, no slack.
func plainRing(par Params, n int, ei, ea float64) *bag {
	par.N = n
	par.EIBag, par.EABag, par.KcEmpty, par.KcLens = ei, ea, 0, 0
	s := bareShape(par)
	s.noSlack = true
	return s.newBag()
}

func checkRing(t *testing.T, c check) float64 {
	par := DefaultParams()
	switch q := c.quantity; {
	case strings.HasPrefix(q, "ring on elastic"):
		par.R, par.Kr, par.Kt = c.get("R"), c.get("k_r"), c.get("k_t")
		b := plainRing(par, 72, c.get("EI"), c.get("EA"))
		b.under(&tool{onRim: true, fr: -c.get("P")})
		return -b.ws.u[nearest(c.get("theta_rad")/(2*math.Pi)*72)]
	case strings.HasPrefix(q, "Hetenyi"):
		w, m := hetenyi(par, c.get("k"), c.get("EI"), c.get("P"))
		if strings.Contains(q, "moment") {
			return m
		}
		return w
	case strings.HasPrefix(q, "rigid-ring"):
		s := bareShape(par)
		s.noSlack = true
		b := s.newBag()
		b.ring, b.lens = true, 1
		core := b.under(&tool{onCore: true, fx: c.get("F")})
		return core[0]
	}
	b := defaultShape.newBag()
	b.rest()
	if kd := b.diaphragm(); math.Abs(kd-c.get("Kd")) > 1e-9 {
		t.Errorf("diaphragm stiffness %g, want %g", kd, c.get("Kd"))
	}
	mean := 0.0
	for _, w := range b.w1 {
		mean -= w * c.get("dP_mmHg") / float64(b.n)
	}
	return mean
}

// hetenyi bends a ring of radius 32 characteristic lengths: near the load it is the
// infinite beam on an elastic foundation (Hetenyi 1946).
func hetenyi(par Params, k, ei, p float64) (deflection, moment float64) {
	lambda := math.Pow(4*ei/k, 0.25)
	par.R, par.Kr, par.Kt = 32*lambda, k, k
	const n = 2304
	b := plainRing(par, n, ei, 0)
	b.under(&tool{onRim: true, fr: -p})
	u := b.ws.u
	s2 := 2 * (1 - math.Cos(2*math.Pi/n))
	kappa := (u[1]-2*u[0]+u[n-1])/s2 + u[0]
	return -u[0], ei / (par.R * par.R) * kappa
}
