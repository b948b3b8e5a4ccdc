package eye

import "zonule/scenarios/eye/ode"

// fluid is the fast system: x chamber volume above neutral (uL), p pressure at the
// compliance of the aspiration line (mmHg), q irrigation into the eye (uL/s). What
// changes slowly is frozen over one step.
type fluid struct {
	globe
	u              float64 // uL out of the posterior compartment
	in             float64 // uL/s from injection and gap
	invRa          float64 // conductance of the port, uL/(s mmHg)
	invRl, invRlIn float64 // of the leak outward, and inward when the eye is below 0
	pump           float64 // ramped pump command, uL/s
	limit          float64 // vacuum limit, mmHg
	invBand        float64 // 1/(band * limit)
	drawing        bool    // pedal at 2 or 3
	byVacuum       bool
	invRLine       float64
	venting        bool
	ventTo         float64
	invRVent       float64
	invCt          float64
	irrigating     bool
	bottle, ri     float64 // mmHg, mmHg s/uL
	invLi          float64
}

// pumped is the flow out of the line at pressure p, and its slope.
func (f *fluid) pumped(p float64) (q, slope float64) {
	if f.drawing {
		switch part := (f.limit + p) * f.invBand; {
		case f.byVacuum:
			q, slope = (f.limit+p)*f.invRLine, f.invRLine
		case part >= 1:
			q = f.pump
		case part > 0:
			q, slope = f.pump*part, f.pump*f.invBand
		}
	}
	if f.venting {
		q += (p - f.ventTo) * f.invRVent
		slope += f.invRVent
	}
	if p < -f.limit {
		q += (p + f.limit) * f.invRVent
		slope += f.invRVent
	}
	return q, slope
}

func (f *fluid) leak(pa float64) float64 {
	if pa < 0 {
		return f.invRlIn
	}
	return f.invRl
}

// Rates implements ode.System.
func (f *fluid) Rates(y ode.State) ode.State {
	pa := f.chamber(y.A, f.u)
	qa := (pa - y.B) * f.invRa
	qp, _ := f.pumped(y.B)
	r := ode.State{A: y.C + f.in - qa - pa*f.leak(pa), B: (qa - qp) * f.invCt}
	if f.irrigating {
		r.C = (f.bottle - pa - f.ri*y.C) * f.invLi
	}
	return r
}

// RatesJacobian implements ode.System.
func (f *fluid) RatesJacobian(y ode.State) (ode.State, ode.Arrow) {
	pa := f.chamber(y.A, f.u)
	s := f.slope(y.A, f.u)
	qa := (pa - y.B) * f.invRa
	qp, dqp := f.pumped(y.B)
	gl := f.leak(pa)
	r := ode.State{A: y.C + f.in - qa - pa*gl, B: (qa - qp) * f.invCt}
	j := ode.Arrow{
		J11: -(f.invRa + gl) * s, J12: f.invRa, J13: 1,
		J21: s * f.invRa * f.invCt, J22: -(f.invRa + dqp) * f.invCt,
	}
	if f.irrigating {
		r.C = (f.bottle - pa - f.ri*y.C) * f.invLi
		j.J31, j.J33 = -s*f.invLi, -f.ri*f.invLi
	}
	return r, j
}
