package eye

import "math"

// tool is a load on the bag. A force falls linearly with travel along its own
// direction and is gone at stop, as a surgeon's hand is limited in travel more than in
// force; without that a gap would run right round the bag. stop 0 means a dead load.
type tool struct {
	onRim      bool
	node       int     // middle node
	spread     int     // nodes on each side
	fr, ft     float64 // mN in all, outward and clockwise
	onCore     bool
	fx, fy     float64 // mN on the core, toward 3 and toward 12 o'clock
	moment     float64 // mN mm, clockwise
	stop       float64 // mm
	turnStop   float64 // rad
	fz, px, py float64 // mN forward at a point of the core, mm
}

// coupling is the stiffness between core and rim at a node, mN/mm2.
func (b *bag) coupling(i int) float64 {
	k := b.par.KcEmpty + b.par.KcLens*b.lens
	if b.implant && (b.nearHaptic(i, b.haptic) || b.nearHaptic(i, (b.haptic+b.n/2)%b.n)) {
		k += b.par.KcImplant
	}
	return k
}

// nearHaptic: a haptic touches a zone of five nodes of 72; nothing but these, or it
// would stiffen the bag to a disc and hide a missing ring.
func (b *bag) nearHaptic(i, at int) bool {
	d := ((i-at)%b.n + b.n) % b.n
	return min(d, b.n-d) <= max(1, b.n*2/72)
}

// assemble fills the in-plane matrix for a set of slack zonules and a tool, and the
// loads.
func (b *bag) assemble(m *band, rhs []float64, slack []bool, t *tool) (g [3]float64) {
	m.copyFrom(&b.plane[b.ringIndex()])
	b.loads(rhs, slack)
	p := &b.par
	for i := range b.n {
		iu, iv := b.du(i), b.dv(i)
		kc := b.ds * b.coupling(i)
		ku, kv := kc+b.anchor[i], kc+b.anchor[i]
		if b.alive[i] {
			if !slack[i] {
				ku += b.ds * b.kf[i] * p.Kr
			}
			kv += b.ds * b.kf[i] * p.Kt
		}
		m.add(iu, iu, ku)
		m.add(iv, iv, kv)
		sn, cs := b.sn[i], b.cs[i]
		m.bord[0][iu] -= kc * sn
		m.bord[0][iv] -= kc * cs
		m.bord[1][iu] -= kc * cs
		m.bord[1][iv] += kc * sn
		m.bord[2][iv] -= kc * p.R
		m.d[0][0] += kc
		m.d[1][1] += kc
		m.d[2][2] += kc * p.R * p.R
		// Translation along x and y do not mix (u_c and v_c cancel); each mixes with
		// rotation through v_c alone, which sums to zero on an even coupling.
		m.d[0][2] += kc * cs * p.R
		m.d[2][0] += kc * cs * p.R
		m.d[1][2] -= kc * sn * p.R
		m.d[2][1] -= kc * sn * p.R
	}
	if t != nil {
		g = b.applyTool(m, rhs, t)
	}
	return g
}

// loads fills the right-hand side of the bag at rest: what has no zonule, or a slack
// one, lacks the outward pretension of the round bag.
func (b *bag) loads(rhs []float64, slack []bool) {
	for i := range b.n {
		rhs[b.du(i)], rhs[b.dv(i)] = 0, 0
		if !b.alive[i] || slack[i] {
			rhs[b.du(i)] = -b.ds * b.kf[i] * b.par.T0
		}
	}
}

func (b *bag) applyTool(m *band, rhs []float64, t *tool) (g [3]float64) {
	if t.onRim {
		count := float64(2*t.spread + 1)
		fr, ft := t.fr/count, t.ft/count
		f := math.Hypot(fr, ft)
		for k := -t.spread; k <= t.spread; k++ {
			i := ((t.node+k)%b.n + b.n) % b.n
			iu, iv := b.du(i), b.dv(i)
			rhs[iu] += fr
			rhs[iv] += ft
			if t.stop > 0 && f > 0 {
				k := f / t.stop / (f * f)
				m.add(iu, iu, k*fr*fr)
				m.add(iv, iv, k*ft*ft)
				m.add(iu, iv, k*fr*ft)
			}
		}
	}
	if t.onCore {
		g = [3]float64{t.fx, t.fy, t.moment}
		if f := math.Hypot(t.fx, t.fy); t.stop > 0 && f > 0 {
			k := 1 / (t.stop * f)
			m.d[0][0] += k * t.fx * t.fx
			m.d[1][1] += k * t.fy * t.fy
			m.d[0][1] += k * t.fx * t.fy
			m.d[1][0] += k * t.fx * t.fy
		}
		if t.turnStop > 0 {
			m.d[2][2] += math.Abs(t.moment) / t.turnStop
		}
	}
	return g
}

func (b *bag) ringIndex() int {
	if b.ring {
		return 1
	}
	return 0
}

// solvePlane finds the equilibrium in the plane into ws.u, ws.v: solve, see which
// zonules went slack, solve again until the set repeats. The energy is convex, so the
// set it ends with does not depend on where it starts; it starts from ws.slack. When kept
// is true m is already factored for ws.slack.
func (b *bag) solvePlane(m *band, t *tool, kept bool, load [3]float64) (core [3]float64, passes int) {
	ws := b.ws
	for passes = 1; ; passes++ {
		var g [3]float64
		if kept {
			b.loads(ws.rhs, ws.slack)
		} else {
			g = b.assemble(m, ws.rhs, ws.slack, t)
			m.factor()
		}
		for i := range g {
			g[i] += load[i]
		}
		core = m.solve(ws.rhs, g)
		for i := range b.n {
			ws.u[i], ws.v[i] = ws.rhs[b.du(i)], ws.rhs[b.dv(i)]
		}
		if passes >= maxPasses || !b.updateSlack(passes > maxPasses/2) {
			ws.mostPasses = max(ws.mostPasses, passes)
			return core, passes
		}
		kept = false
		m = &ws.toolPlane
	}
}

const maxPasses = 30

// updateSlack reports whether the set of slack zonules changed. After many passes it
// only adds, which must end.
func (b *bag) updateSlack(onlyAdd bool) bool {
	if b.noSlack {
		return false
	}
	ws, p, changed := b.ws, &b.par, false
	for i := range b.n {
		now := b.alive[i] && p.T0-p.Kr*ws.u[i] < 0
		if onlyAdd && ws.slack[i] {
			continue
		}
		if now != ws.slack[i] {
			ws.slack[i], changed = now, true
		}
	}
	return changed
}

// rest finds the bag at rest, if it is not known.
func (b *bag) rest() {
	if b.fresh {
		return
	}
	ws := b.work()
	copy(ws.slack, b.slack)
	_, passes := b.solvePlane(&ws.restPlane, nil, false, [3]float64{})
	copy(b.slack, ws.slack)
	copy(b.u, ws.u)
	copy(b.v, ws.v)
	ws.restKept = passes == 1
	b.offX, b.offY = b.offset(b.u, b.v)
	b.solveAxial()
	b.fresh = true
}

// keepRest makes sure that ws.restPlane is factored for the bag at rest.
func (b *bag) keepRest() {
	b.rest()
	ws := b.work()
	if !ws.restKept {
		b.assemble(&ws.restPlane, ws.rhs, b.slack, nil)
		ws.restPlane.factor()
		ws.restKept = true
	}
}

// under finds the bag under a tool into ws.u, ws.v and returns how the core moved.
func (b *bag) under(t *tool) (core [3]float64) {
	b.rest()
	ws := b.work()
	copy(ws.slack, b.slack)
	core, _ = b.solvePlane(&ws.toolPlane, t, false, [3]float64{})
	return core
}

// offset is the mean displacement of the rim toward 3 and 12 o'clock, mm.
func (b *bag) offset(u, v []float64) (x, y float64) {
	for i := range b.n {
		x += u[i]*b.sn[i] + v[i]*b.cs[i]
		y += u[i]*b.cs[i] - v[i]*b.sn[i]
	}
	return x / float64(b.n), y / float64(b.n)
}

// sway is the largest extra offset under 1 mN on the core over twelve directions, mm.
func (b *bag) sway() float64 {
	b.keepRest()
	ws, most := b.ws, 0.0
	for d := range 12 {
		sn, cs := math.Sincos(2 * math.Pi * float64(d) / 12)
		copy(ws.slack, b.slack)
		b.solvePlane(&ws.restPlane, nil, true, [3]float64{sn, cs, 0})
		x, y := b.offset(ws.u, ws.v)
		most = max(most, math.Hypot(x-b.offX, y-b.offY))
	}
	return most
}

// wobbleIndex is the sway relative to a healthy full eye, 99 at most.
func (b *bag) wobbleIndex() float64 {
	b.rest()
	if !b.swayed {
		b.wobble, b.swayed = min(99, b.sway()/b.healthy), true
	}
	return b.wobble
}
