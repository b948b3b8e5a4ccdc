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
	x := y[0]
	return State{-math.Exp(0.5*x) + y[1] + 0.5*y[2], math.Sin(x) - y[1]*y[1], -2*x - 3*y[2]},
		Arrow{J11: -0.5 * math.Exp(0.5*x), J12: 1, J13: 0.5, J21: math.Cos(x), J22: -2 * y[1], J31: -2, J33: -3}
}

// linear is y' = J y, whose solution for J22 = J33 = lambda and no coupling is known.
type linear struct{ j Arrow }

func (l linear) Rates(y State) State {
	return State{l.j.J11*y[0] + l.j.J12*y[1] + l.j.J13*y[2], l.j.J21*y[0] + l.j.J22*y[1], l.j.J31*y[0] + l.j.J33*y[2]}
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
		worst := 0.0
		for i := range y {
			worst = max(worst, math.Abs(y[i]-ref[i]))
		}
		errs = append(errs, worst)
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
		for i := range got {
			// k1 and k2 nearly cancel y for stiff z, so the error is relative to y, not to R.
			if math.Abs(got[i]-want) > 1e-14 {
				t.Errorf("z=%g state %d: %.17g, want %.17g", z, i, got[i], want)
			}
		}
		if z == -1e9 && math.Abs(got[0]) > 1e-8 {
			t.Errorf("not L-stable: R(%g) = %g", z, got[0])
		}
	}
}

// The closed-form solve is checked against multiplying back.
func TestFactorSolves(t *testing.T) {
	j := Arrow{J11: -3, J12: 2, J13: -1, J21: 0.5, J22: -7, J31: 4, J33: -0.2}
	const g = 0.37
	r := State{1, -2, 3}
	m := newFactor(j, g)
	x := m.solve(r)
	jx := linear{j}.Rates(x)
	for i := range x {
		if back := x[i] - g*jx[i]; math.Abs(back-r[i]) > 1e-14 {
			t.Errorf("row %d: %g, want %g", i, back, r[i])
		}
	}
}

// Two states coupled as an undamped oscillator: after one turn it is back, to order h2.
func TestOscillator(t *testing.T) {
	sys := linear{Arrow{J12: 1, J21: -1}}
	y := integrate(sys, State{1, 0, 0}, 2*math.Pi, 4000)
	if math.Hypot(y[0]-1, y[1]) > 2e-6 {
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
