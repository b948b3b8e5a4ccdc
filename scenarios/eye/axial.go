package eye

import "math"

// assembleAxial fills the matrix of the displacements forward and back. It has no
// one-sided springs, so the answer is linear in the pressure difference.
func (b *bag) assembleAxial(m *band) {
	m.copyFrom(&b.axial[b.ringIndex()])
	p := &b.par
	for i := range b.n {
		at := b.pos[i]
		kd := p.KIris
		if b.alive[i] {
			kd += p.KZ * b.kf[i]
		}
		kc := b.ds * b.coupling(i)
		m.add(at, at, kc+b.ds*kd/(2*math.Pi*p.R)+p.AnchorAxial*b.anchor[i])
		arm := [3]float64{1, p.R * b.sn[i], p.R * b.cs[i]}
		for r := range arm {
			m.bord[r][at] -= kc * arm[r]
			for c := range arm {
				m.d[r][c] += kc * arm[r] * arm[c]
			}
		}
	}
	m.factor()
}

// solveAxial finds the displacement per mmHg of chamber over vitreous pressure. The
// chamber pushes the diaphragm back, which is negative.
func (b *bag) solveAxial() {
	ws := b.work()
	b.assembleAxial(&ws.axial)
	per := -mmHgInMN * b.par.Ad / (2 * math.Pi * b.par.R) * b.ds
	for i := range b.w1 {
		ws.w[i] = per
	}
	ws.axial.solve(ws.w, [3]float64{})
	b.tiltX, b.tiltY, b.softest = 0, 0, 0
	for i := range b.n {
		w := ws.w[b.pos[i]]
		b.w1[i] = w
		b.tiltX += w * b.sn[i]
		b.tiltY += w * b.cs[i]
		if math.Abs(w) > math.Abs(b.w1[b.softest]) {
			b.softest = i
		}
	}
	k := 2 / float64(b.n) / b.par.R
	b.tiltX *= k
	b.tiltY *= k
}

// pushed fills ws.w with the displacement, in node order, under a pressure difference
// and a push of the tool along the axis.
func (b *bag) pushed(dP float64, t *tool) {
	ws := b.work()
	w := ws.w
	if t == nil || t.fz == 0 {
		for i := range w {
			w[i] = b.w1[i] * dP
		}
		return
	}
	b.assembleAxial(&ws.axial)
	for i := range ws.rhs[:b.n] {
		ws.rhs[i] = 0
	}
	ws.axial.solve(ws.rhs[:b.n], [3]float64{t.fz, t.fz * t.px, t.fz * t.py})
	for i := range w {
		w[i] = b.w1[i]*dP + ws.rhs[b.pos[i]]
	}
}

// tilt is the angle of the bag in degrees under a pressure difference, and the hour of
// the side that lies deeper.
func (b *bag) tilt(dP float64) (deg, hour float64) {
	x, y := b.tiltX*dP, b.tiltY*dP
	t := math.Hypot(x, y)
	return math.Atan(t) * 180 / math.Pi, b.direction(-x, -y)
}

// direction is the clock hour a vector points to, from above 0 to 12.
func (b *bag) direction(x, y float64) float64 {
	return b.hour(math.Atan2(x, y) / (2 * math.Pi) * float64(b.n))
}

// gapArea is the open area between bag and body wall where zonules are missing, mm2.
func (b *bag) gapArea(dP float64) float64 {
	b.rest()
	sum := 0.0
	for i := range b.n {
		if !b.alive[i] {
			sum += b.ds * (max(0, b.par.Gap0-b.u[i]) + 0.3*math.Abs(b.w1[i]*dP))
		}
	}
	return sum
}
