package eye

// energy adds up ultrasound energy, the endothelial dose and the heat at the wound.
func (e *Eye) energy(h float64) {
	power, heat := 0.0, 0.0
	if e.soundOn() {
		m := e.mode()
		power = e.set.power * m
		heat = e.set.power
		if e.set.torsional {
			heat *= 0.5
		}
		e.cde += power * h
	}
	e.woundTemp += h * heatRate(e.par, e.woundTemp, e.q, heat)
	if e.woundTemp > 60 {
		e.burn += h
	}
	dose := 6e-7 * max(0, e.q)
	if power > 0 {
		near := 3.5 / max(0.5, e.depth)
		dose += power * 0.032 * near * near * (1 - 0.7*e.phi)
	}
	if e.depth < 1.2 && e.set.tool != noTool {
		dose += 0.01
	}
	e.endo += h * dose
}

// heatRate is the rate of the wound temperature, K/s, at an irrigation flow in uL/s and
// a power weighted for its mode.
func heatRate(p *Params, temp, q, power float64) float64 {
	if q < 0 {
		q = -q
	}
	return (p.WoundBase-temp)*(0.125+0.0012*q) + p.HeatPerPower*power
}
