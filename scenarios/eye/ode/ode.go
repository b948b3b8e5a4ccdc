// Package ode integrates small stiff systems of ordinary differential equations with
// fixed steps, without allocating. It knows nothing of what the states mean.
//
// The one method is ROS2, a two-stage Rosenbrock method of order two that is L-stable
// (gamma = 1 - 1/sqrt(2)): stiff parts die out at any step length, and no iteration is
// needed. It takes the exact Jacobian. The systems served are "arrows": three states of
// which the second and third act on each other only through the first, so that each
// stage is solved in closed form.
package ode

import "math"

// State is the vector of states.
type State [3]float64

// Arrow holds the entries of an arrow-shaped Jacobian that may differ from zero;
// J12 is the derivative of the first rate with respect to the second state.
type Arrow struct{ J11, J12, J13, J21, J22, J31, J33 float64 }

// System is an autonomous system with an arrow-shaped Jacobian.
type System interface {
	// Rates gives the derivatives at y.
	Rates(y State) State
	// RatesJacobian gives the derivatives and the Jacobian at y.
	RatesJacobian(y State) (State, Arrow)
}

// Gamma is the parameter of the method, 1 - 1/sqrt(2); with it the method is L-stable.
const Gamma = 1 - 1/math.Sqrt2

// ROS2 takes one step of length h from y:
//
//	(I - gamma h J) k1 = f(y)
//	(I - gamma h J) k2 = f(y + h k1) - 2 k1
//	y' = y + h (3/2 k1 + 1/2 k2)
func ROS2(sys System, y State, h float64) State {
	f, j := sys.RatesJacobian(y)
	m := newFactor(j, Gamma*h)
	k1 := m.solve(f)
	f = sys.Rates(State{y[0] + h*k1[0], y[1] + h*k1[1], y[2] + h*k1[2]})
	k2 := m.solve(State{f[0] - 2*k1[0], f[1] - 2*k1[1], f[2] - 2*k1[2]})
	return State{
		y[0] + h*(1.5*k1[0]+0.5*k2[0]),
		y[1] + h*(1.5*k1[1]+0.5*k2[1]),
		y[2] + h*(1.5*k1[2]+0.5*k2[2]),
	}
}

// factor holds I - g J in eliminated form.
type factor struct{ d1, d2, d3, u2, u3, l2, l3 float64 }

func newFactor(j Arrow, g float64) factor {
	d2 := 1 / (1 - g*j.J22)
	d3 := 1 / (1 - g*j.J33)
	return factor{
		d1: 1 / (1 - g*j.J11 - g*g*j.J12*j.J21*d2 - g*g*j.J13*j.J31*d3),
		d2: d2, d3: d3,
		u2: g * j.J12 * d2, u3: g * j.J13 * d3,
		l2: g * j.J21, l3: g * j.J31,
	}
}

func (m *factor) solve(r State) State {
	x := (r[0] + m.u2*r[1] + m.u3*r[2]) * m.d1
	return State{x, (r[1] + m.l2*x) * m.d2, (r[2] + m.l3*x) * m.d3}
}
