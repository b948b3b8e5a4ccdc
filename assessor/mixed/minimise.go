package mixed

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// enough is the fall a Newton step still promises from which a minimum counts as reached: for a
// deviance, a thousandth of a thousandth of what one standard error makes.
const enough = 1e-8

// minimise finds a minimum of a smooth function of a few variables of order 1 (a deviance) by a
// quasi-Newton method on central differences: the Hessian is differenced once and then updated from
// the gradients (BFGS), and again where that fails; steps are damped until each goes down. It
// returns the place, and false when it does not settle. The functions here are even in their
// variables at 0, so that a variance of 0 is an ordinary minimum and needs no boundary.
//
// moved, when not nil, is told every place that is taken.
func minimise(f func([]float64) float64, start []float64, moved func([]float64)) ([]float64, bool) {
	return minimiseFrom(f, start, nil, moved)
}

// minimiseFrom is minimise with the Hessian at the start, when it is known (else nil).
func minimiseFrom(f func([]float64) float64, start []float64, first *mat.SymDense, moved func([]float64)) ([]float64, bool) {
	x := append([]float64(nil), start...)
	now := f(x)
	if len(x) == 0 || !finite(now) {
		return x, finite(now)
	}
	hess, fresh := upright(first), first != nil
	grad := gradient(f, x)
	for range 300 {
		if grad == nil {
			return x, false
		}
		if hess == nil {
			if hess, fresh = upright(hessian(f, x, now)), true; hess == nil {
				return x, false
			}
		}
		// Sums over a whole programme carry rounding of their own.
		slack := 1e-10 + 1e-13*math.Abs(now)
		done := false
		if step, ok := damped(hess, grad, 0); ok {
			promised := 0.0
			for i, g := range grad {
				promised += g * step[i] / 2
			}
			done = promised < enough+slack
		}
		next, then, ok := descend(f, x, now+slack, hess, grad, done)
		switch {
		case done && !ok:
			return x, true
		case !ok && fresh:
			return x, false
		case !ok: // the updated Hessian led astray
			hess = nil
			continue
		}
		if moved != nil {
			moved(next)
		}
		if done {
			return next, true
		}
		after := gradient(f, next)
		if after == nil {
			return x, false
		}
		if !update(hess, x, next, grad, after) {
			hess = nil
		}
		x, now, grad, fresh = next, then, after, false
	}
	return x, false
}

// descend tries steps of rising damping until one goes down to at most limit. Once the search is as
// good as done it tries the first alone.
func descend(f func([]float64) float64, x []float64, limit float64, hess *mat.SymDense, grad []float64, done bool) ([]float64, float64, bool) {
	for damping := 0.0; damping < 1e9; damping = math.Max(damping*10, 1e-3) {
		step, ok := damped(hess, grad, damping)
		if ok {
			next := make([]float64, len(x))
			for i := range x {
				next[i] = x[i] - step[i]
			}
			if then := f(next); then <= limit {
				return next, then, true
			}
			if done {
				break
			}
		}
	}
	return nil, 0, false
}

// update is the BFGS update of the Hessian; false when the step shows no positive curvature.
func update(hess *mat.SymDense, x, next, grad, after []float64) bool {
	n := len(x)
	s, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i := range x {
		s.SetVec(i, next[i]-x[i])
		y.SetVec(i, after[i]-grad[i])
	}
	var hs mat.VecDense
	hs.MulVec(hess, s)
	shs, ys := mat.Dot(s, &hs), mat.Dot(y, s)
	if !(shs > 0) || !(ys > 1e-4*shs) {
		return false
	}
	hess.SymRankOne(hess, 1/ys, y)
	hess.SymRankOne(hess, -1/shs, &hs)
	return true
}

// upright turns the Hessian's falling directions round, so that every step goes down; nil for nil.
func upright(hess *mat.SymDense) *mat.SymDense {
	if hess == nil {
		return nil
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(hess, true) {
		return nil
	}
	values := eigen.Values(nil)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	largest := 0.0
	for _, v := range values {
		largest = math.Max(largest, math.Abs(v))
	}
	n := len(values)
	out := mat.NewSymDense(n, nil)
	for k, v := range values {
		out.SymRankOne(out, math.Max(math.Abs(v), 1e-9*largest), vectors.ColView(k))
	}
	return out
}

// width of a difference in a variable.
func width(x, of float64) float64 { return of * (0.3 + math.Abs(x)) }

// gradient by central differences; nil when the function is not finite nearby.
func gradient(f func([]float64) float64, x []float64) []float64 {
	grad := make([]float64, len(x))
	at := append([]float64(nil), x...)
	for i := range x {
		h := width(x[i], 1e-4)
		at[i] = x[i] + h
		up := f(at)
		at[i] = x[i] - h
		down := f(at)
		at[i] = x[i]
		if grad[i] = (up - down) / (2 * h); !finite(grad[i]) {
			return nil
		}
	}
	return grad
}

// hessian by central differences; nil when the function is not finite nearby.
func hessian(f func([]float64) float64, x []float64, now float64) *mat.SymDense {
	n := len(x)
	hess := mat.NewSymDense(n, nil)
	at := append([]float64(nil), x...)
	probe := func(i int, di float64, j int, dj float64) float64 {
		at[i] += di
		at[j] += dj
		v := f(at)
		at[i], at[j] = x[i], x[j]
		return v
	}
	for i := range n {
		hi := width(x[i], 1e-3)
		hess.SetSym(i, i, (probe(i, hi, i, 0)-2*now+probe(i, -hi, i, 0))/(hi*hi))
		for j := range i {
			hj := width(x[j], 1e-3)
			hess.SetSym(i, j, (probe(i, hi, j, hj)-probe(i, hi, j, -hj)-probe(i, -hi, j, hj)+probe(i, -hi, j, -hj))/(4*hi*hj))
		}
	}
	for i := range n {
		for j := range n {
			if !finite(hess.At(i, j)) {
				return nil
			}
		}
	}
	return hess
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
