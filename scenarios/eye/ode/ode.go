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

// State is the vector of states. It is a struct rather than an array so that the
// compiler keeps it in registers.
type State struct{ A, B, C float64 }

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
	g := Gamma * h
	// I - gamma h J, eliminated: B and C in terms of A, then A alone.
	d2, d3 := 1/(1-g*j.J22), 1/(1-g*j.J33)
	u2, u3 := g*j.J12*d2, g*j.J13*d3
	l2, l3 := g*j.J21, g*j.J31
	d1 := 1 / (1 - g*j.J11 - u2*l2 - u3*l3)

	ka := (f.A + u2*f.B + u3*f.C) * d1
	kb, kc := (f.B+l2*ka)*d2, (f.C+l3*ka)*d3
	f = sys.Rates(State{y.A + h*ka, y.B + h*kb, y.C + h*kc})
	f.A, f.B, f.C = f.A-2*ka, f.B-2*kb, f.C-2*kc
	ma := (f.A + u2*f.B + u3*f.C) * d1
	mb, mc := (f.B+l2*ma)*d2, (f.C+l3*ma)*d3
	return State{
		y.A + h*(1.5*ka+0.5*ma),
		y.B + h*(1.5*kb+0.5*mb),
		y.C + h*(1.5*kc+0.5*mc),
	}
}
