package eye

import (
	"math"
	"strings"
)

// uniformBag is the bag of a B row: uniform strengths, no hand factor.
func uniformBag(in Inputs) (*bag, *tool) {
	b := defaultShape.newBag()
	b.lens = in.get("f")
	b.ring = in.get("ring") == 1
	b.open(in.get("hrs"), in.or("cen", 6), 1)
	var tl *tool
	switch {
	case in.get("core") == 1:
		tl = &tool{onCore: true, fx: in.get("fx"), fy: in.get("fy"), moment: in.get("m"), stop: in.get("stop")}
	case in.get("fr") != 0 || in.get("ft") != 0:
		tl = &tool{onRim: true, node: b.node(in.get("nh")), spread: int(min(max(in.or("spread", 1), 0), 30)), fr: in.get("fr"), ft: in.get("ft"), stop: in.get("stop")}
	}
	return b, tl
}

func probeBag(quantity string, in Inputs) (float64, error) {
	b, tl := uniformBag(in)
	b.rest()
	u, v := b.u, b.v
	if tl != nil {
		b.under(tl)
		u, v = b.ws.u, b.ws.v
	}
	b.pushed(in.get("dP"), tl)
	ratio, _, load := b.ratios(u, v, b.ws.w)
	switch {
	case strings.HasSuffix(quantity, "bag offset"):
		return math.Hypot(b.offset(u, v)), nil
	case strings.HasSuffix(quantity, "gap area"):
		return b.gapArea(in.get("dP")), nil
	case strings.HasSuffix(quantity, "peak load/strength"):
		return ratio, nil
	case strings.HasSuffix(quantity, "largest segment load"):
		return load, nil
	case strings.HasSuffix(quantity, "tilt"):
		deg, _ := b.tilt(in.get("dP"))
		return deg, nil
	}
	return unknown(quantity)
}

// plainRing is a ring of nodes on an elastic foundation: no core, no slack.
func plainRing(par Params, n int, ei, ea float64) *bag {
	par.N = n
	par.EIBag, par.EABag, par.KcEmpty, par.KcLens = ei, ea, 0, 0
	s := bareShape(par)
	s.noSlack = true
	return s.newBag()
}

func probeRing(quantity string, in Inputs) (float64, error) {
	par := DefaultParams()
	switch {
	case strings.HasPrefix(quantity, "ring on elastic"):
		par.R, par.Kr, par.Kt = in.get("R"), in.get("k_r"), in.get("k_t")
		b := plainRing(par, 72, in.get("EI"), in.get("EA"))
		b.under(&tool{onRim: true, fr: -in.get("P")})
		return -b.ws.u[b.node(in.get("theta_rad")/(2*math.Pi)*12)], nil
	case strings.HasPrefix(quantity, "Hetenyi"):
		w, m := hetenyi(par, in.get("k"), in.get("EI"), in.get("P"))
		if strings.Contains(quantity, "moment") {
			return m, nil
		}
		return w, nil
	case strings.HasPrefix(quantity, "rigid-ring"):
		s := bareShape(par)
		s.noSlack = true
		b := s.newBag()
		b.ring, b.lens = true, 1
		core := b.under(&tool{onCore: true, fx: in.get("F")})
		return core[0], nil
	case strings.HasPrefix(quantity, "uniform heave"):
		return heave(par, in), nil
	}
	return unknown(quantity)
}

// heave is how far the diaphragm goes back evenly; a stiffness other than that of the healthy
// eye is made by its zonules.
func heave(par Params, in Inputs) float64 {
	par.KZ = in.or("Kd", par.KIris+par.KZ) - par.KIris
	b := bareShape(par).newBag()
	b.rest()
	mean := 0.0
	for _, w := range b.w1 {
		mean -= w * in.get("dP_mmHg") / float64(b.n)
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
