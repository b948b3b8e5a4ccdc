package mixed

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// enough is the fall a Newton step still promises from which a minimum counts as reached: for a
// deviance, a thousandth of a thousandth of what one standard error makes.
const enough = 1e-8

// minimise finds a minimum of a smooth function of a few variables of order 1 (a deviance) by
// Newton's method on central differences, damped until each step goes down. It returns the place,
// and false when it does not settle. The functions here are even in their variables at 0, so that
// a variance of 0 is an ordinary minimum and needs no boundary.
func minimise(f func([]float64) float64, start []float64) ([]float64, bool) {
	x := append([]float64(nil), start...)
	now := f(x)
	if len(x) == 0 {
		return x, finite(now)
	}
	damping := 0.0
	for range 200 {
		grad, hess := differences(f, x, now)
		if grad == nil {
			return x, false
		}
		promised := math.Inf(1)
		if step, ok := damped(hess, grad, 0); ok {
			promised = 0
			for i, g := range grad {
				promised += g * step[i] / 2
			}
		}
		// Sums over a whole programme carry rounding of their own.
		slack := 1e-13 * math.Abs(now)
		done := promised < enough+slack
		moved := false
		for damping < 1e12 {
			step, ok := damped(hess, grad, damping)
			if ok {
				next := make([]float64, len(x))
				for i := range x {
					next[i] = x[i] - step[i]
				}
				if then := f(next); then <= now+slack {
					x, now, moved = next, then, true
					if damping /= 10; damping < 1e-9 {
						damping = 0
					}
					break
				}
			}
			damping = math.Max(damping*10, 1e-6)
			if done {
				break
			}
		}
		if done {
			return x, true
		}
		if !moved {
			return x, false
		}
	}
	return x, false
}

// differences is the gradient and the Hessian; nil when the function is not finite nearby.
func differences(f func([]float64) float64, x []float64, now float64) ([]float64, *mat.SymDense) {
	n := len(x)
	grad, hess := make([]float64, n), mat.NewSymDense(n, nil)
	at := append([]float64(nil), x...)
	probe := func(i int, di float64, j int, dj float64) float64 {
		at[i] += di
		at[j] += dj
		v := f(at)
		at[i], at[j] = x[i], x[j]
		return v
	}
	width := func(i int, of float64) float64 { return of * (0.1 + math.Abs(x[i])) }
	for i := range n {
		h := width(i, 1e-4)
		up, down := probe(i, h, i, 0), probe(i, -h, i, 0)
		grad[i] = (up - down) / (2 * h)
		h = width(i, 1e-3)
		up, down = probe(i, h, i, 0), probe(i, -h, i, 0)
		hess.SetSym(i, i, (up-2*now+down)/(h*h))
		if !finite(grad[i]) || !finite(hess.At(i, i)) {
			return nil, nil
		}
	}
	for i := range n {
		for j := range i {
			hi, hj := width(i, 1e-3), width(j, 1e-3)
			v := (probe(i, hi, j, hj) - probe(i, hi, j, -hj) - probe(i, -hi, j, hj) + probe(i, -hi, j, -hj)) / (4 * hi * hj)
			if !finite(v) {
				return nil, nil
			}
			hess.SetSym(i, j, v)
		}
	}
	return grad, hess
}

// damped solves (H + damping D) step = grad, D the size of H's diagonal; false when that is not
// positive definite.
func damped(hess *mat.SymDense, grad []float64, damping float64) ([]float64, bool) {
	n := len(grad)
	a := mat.NewSymDense(n, nil)
	a.CopySym(hess)
	for i := range n {
		a.SetSym(i, i, hess.At(i, i)+damping*(math.Abs(hess.At(i, i))+1e-8))
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var step mat.VecDense
	if chol.SolveVecTo(&step, mat.NewVecDense(n, grad)) != nil {
		return nil, false
	}
	out := make([]float64, n)
	for i := range out {
		if out[i] = step.AtVec(i); !finite(out[i]) {
			return nil, false
		}
	}
	return out, true
}
