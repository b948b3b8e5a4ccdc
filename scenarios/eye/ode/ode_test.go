package ode

import (
	"math"
	"testing"
)

// arrow is a nonlinear test system with known Jacobian: x is driven by y and z, which
// see only x.
type arrow struct{}

func (arrow) Rates(y State) State { f, _ := arrow{}.RatesJacobian(y); return f }

func (arrow) RatesJacobian(y State) (State, Arrow) {
	e := math.Exp(0.5 * y.A)
	return State{-e + y.B + 0.5*y.C, math.Sin(y.A) - y.B*y.B, -2*y.A - 3*y.C},
		Arrow{J11: -0.5 * e, J12: 1, J13: 0.5, J21: math.Cos(y.A), J22: -2 * y.B, J31: -2, J33: -3}
}

// linear is y' = J y, whose solution for J22 = J33 = lambda and no coupling is known.
type linear struct{ j Arrow }

func (l linear) Rates(y State) State {
	return State{l.j.J11*y.A + l.j.J12*y.B + l.j.J13*y.C, l.j.J21*y.A + l.j.J22*y.B, l.j.J31*y.A + l.j.J33*y.C}
}
func (l linear) RatesJacobian(y State) (State, Arrow) { return l.Rates(y), l.j }

func integrate(sys System, y State, t float64, n int) State {
	for range n {
		y = ROS2(sys, y, t/float64(n))
	}
	return y
}

// The error falls with the square of the step: halving it divides the error by four.
func TestObservedOrderIsTwo(t *testing.T) {
	start := State{1, 0.5, -0.2}
	ref := integrate(arrow{}, start, 2, 1<<16)
	var errs []float64
	for n := 32; n <= 1024; n *= 2 {
		y := integrate(arrow{}, start, 2, n)
		errs = append(errs, max(math.Abs(y.A-ref.A), math.Abs(y.B-ref.B), math.Abs(y.C-ref.C)))
	}
	for i := 1; i < len(errs); i++ {
		if order := math.Log2(errs[i-1] / errs[i]); order < 1.9 || order > 2.15 {
			t.Errorf("halving %d: observed order %.3f (errors %.3g to %.3g)", i, order, errs[i-1], errs[i])
		}
	}
}

// One step on y' = lambda y must equal the method's stability function
// R(z) = (1 + (1-2g) z) / (1 - g z)^2, and it must vanish at infinity (L-stability).
func TestStabilityFunction(t *testing.T) {
	for _, z := range []float64{-0.01, -1, -10, -1e3, -1e9, 0.3} {
		got := ROS2(linear{Arrow{J11: z, J22: z, J33: z}}, State{1, 1, 1}, 1)
		want := (1 + (1-2*Gamma)*z) / ((1 - Gamma*z) * (1 - Gamma*z))
		// k1 and k2 nearly cancel y for stiff z, so the error is relative to y, not to R.
		if worst := max(math.Abs(got.A-want), math.Abs(got.B-want), math.Abs(got.C-want)); worst > 1e-14 {
			t.Errorf("z=%g: %v, want %.17g each", z, got, want)
		}
		if z == -1e9 && math.Abs(got.A) > 1e-8 {
			t.Errorf("not L-stable: R(%g) = %g", z, got.A)
		}
	}
}

// On a linear system with every entry of the arrow in use, one step must equal the
// method worked out with a dense 3 x 3 solve.
func TestStepAgainstDenseSolve(t *testing.T) {
	sys := linear{Arrow{J11: -3, J12: 2, J13: -1, J21: 0.5, J22: -7, J31: 4, J33: -0.2}}
	const h = 0.37
	y := State{1, -2, 3}
	k1 := dense(sys.j, h, sys.Rates(y))
	f := sys.Rates(State{y.A + h*k1.A, y.B + h*k1.B, y.C + h*k1.C})
	k2 := dense(sys.j, h, State{f.A - 2*k1.A, f.B - 2*k1.B, f.C - 2*k1.C})
	want := State{y.A + h*(1.5*k1.A+0.5*k2.A), y.B + h*(1.5*k1.B+0.5*k2.B), y.C + h*(1.5*k1.C+0.5*k2.C)}
	got := ROS2(sys, y, h)
	if max(math.Abs(got.A-want.A), math.Abs(got.B-want.B), math.Abs(got.C-want.C)) > 1e-13 {
		t.Errorf("got %v, want %v", got, want)
	}
}

// dense solves (I - gamma h J) x = r by Cramer's rule.
func dense(j Arrow, h float64, r State) State {
	g := Gamma * h
	m := [3][3]float64{{1 - g*j.J11, -g * j.J12, -g * j.J13}, {-g * j.J21, 1 - g*j.J22, 0}, {-g * j.J31, 0, 1 - g*j.J33}}
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	col := func(c int) float64 {
		n := m
		n[0][c], n[1][c], n[2][c] = r.A, r.B, r.C
		return det(n) / det(m)
	}
	return State{col(0), col(1), col(2)}
}

// Two states coupled as an undamped oscillator: after one turn it is back, to order h2.
func TestOscillator(t *testing.T) {
	sys := linear{Arrow{J12: 1, J21: -1}}
	y := integrate(sys, State{1, 0, 0}, 2*math.Pi, 4000)
	if math.Hypot(y.A-1, y.B) > 2e-6 {
		t.Errorf("after one turn at %v, want (1, 0)", y)
	}
}

func TestNoAllocation(t *testing.T) {
	var sys System = &arrow{}
	y := State{1, 0.5, -0.2}
	if n := testing.AllocsPerRun(100, func() { y = ROS2(sys, y, 1e-3) }); n != 0 {
		t.Errorf("%g allocations per step", n)
	}
}

func BenchmarkROS2(b *testing.B) {
	var sys System = &arrow{}
	y := State{1, 0.5, -0.2}
	for b.Loop() {
		y = ROS2(sys, y, 1e-3)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "steps/s")
}
