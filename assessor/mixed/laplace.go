package mixed

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Refine goes on from a fit by Lindstrom and Bates to the maximum of Laplace's approximation of the
// likelihood (Bates and Watts' nlmer form: the trainees' departures integrated out around their
// modes), and takes the errors of all parameters from its curvature in all of them together.
//
// Estimates change little. Errors can change much: where trainees have too few drills to show their
// own plateau, means and variances hang together, and errors that take the variances as known are
// too small (in simulations by a third; assessor/simulate has the table). It costs a few times the
// fit itself. It is [ErrWanders] when the curvature shows no maximum.
func (f *NonlinearFit) Refine(subjects []Subject) (*NonlinearFit, error) {
	l, err := f.laplacer(subjects)
	if err != nil {
		return nil, err
	}
	best, value, hess := l.settle(append(make([]float64, l.p), l.theta...))
	if hess == nil {
		return nil, ErrWanders
	}
	dims := len(best)
	info := mat.NewSymDense(dims, nil)
	for i := range dims {
		for j := i; j < dims; j++ {
			info.SetSym(i, j, hess.At(i, j)/2)
		}
	}
	var chol mat.Cholesky
	var inv mat.SymDense
	if !chol.Factorize(info) || chol.InverseTo(&inv) != nil {
		return nil, ErrWanders
	}
	return l.result(f, best, value, &inv), nil
}

// nearby is the promised fall in deviance up to which the curvature at the start serves for the
// maximum as well: a quarter of what one standard error makes.
const nearby = 0.25

// settle finds the maximum and the curvature there.
func (l *laplacer) settle(from []float64) ([]float64, float64, *mat.SymDense) {
	now := l.deviance(from)
	grad, hess := gradient(l.deviance, from), hessian(l.deviance, from, now)
	if grad == nil || hess == nil {
		return nil, 0, nil
	}
	promised := math.Inf(1)
	if step, ok := damped(hess, grad, 0); ok {
		promised = 0
		for i, g := range grad {
			promised += g * step[i] / 2
		}
	}
	best, ok := minimiseFrom(l.deviance, from, hess, l.recentre)
	if !ok {
		return nil, 0, nil
	}
	value := l.deviance(best)
	if promised > nearby {
		hess = hessian(l.deviance, best, value)
	}
	return best, value, hess
}

// laplacer is the Laplace deviance as a function of the shared parameters (from the fit's own, in
// units of their errors) and the factor. The residual variance is at its best.
type laplacer struct {
	*search
	base, unit []float64
	modes      [][]float64 // where each trainee's search begins
	sum        *sums       // for its reading of theta
}

func (f *NonlinearFit) laplacer(subjects []Subject) (*laplacer, error) {
	if err := checkNonlinear(f.f, subjects, f.Fixed, f.Options); err != nil {
		return nil, err
	}
	s := &search{Function: f.f, subjects: subjects, opt: f.Options, p: f.f.P, q: len(f.Options.Random), beta: append([]float64(nil), f.Fixed...), lambda: f.factor, theta: f.theta, scale: f.scale}
	s.slope, s.par = make([]float64, s.p), make([]float64, s.p)
	l := &laplacer{search: s, base: f.Fixed, unit: f.Errors}
	l.sum = newSums(s.p, s.q, f.Options.Diagonal, false)
	l.sum.scale = f.scale
	for i := range subjects {
		one := *s
		one.subjects = subjects[i : i+1]
		u, _, _, err := one.mode()
		if err != nil {
			return nil, err
		}
		l.modes = append(l.modes, u)
	}
	return l, nil
}

// place writes a point of the search.
func (l *laplacer) place(par []float64) {
	for i := range l.p {
		l.beta[i] = l.base[i] + l.unit[i]*par[i]
	}
	l.lambda = l.sum.lambda(par[l.p:])
}

// recentre starts the trainees' searches from their modes at a place from now on.
func (l *laplacer) recentre(par []float64) {
	l.place(par)
	q := l.q
	zz, a, half := make([]float64, q*q), make([]float64, q*q), make([]float64, q*q)
	zr, next := make([]float64, q), make([]float64, q)
	for g := range l.subjects {
		l.descend(g, l.modes[g], next, zz, zr, a, half)
	}
}

func (l *laplacer) deviance(par []float64) float64 {
	l.place(par)
	q := l.q
	zz, a, half := make([]float64, q*q), make([]float64, q*q), make([]float64, q*q)
	zr, u, next := make([]float64, q), make([]float64, q), make([]float64, q)
	total, logs, n := 0.0, 0.0, 0
	for g := range l.subjects {
		copy(u, l.modes[g])
		cost, ok := l.descend(g, u, next, zz, zr, a, half)
		if !ok {
			return math.Inf(1)
		}
		total += cost
		logs += logDet(a, q)
		n += len(l.subjects[g].X)
	}
	return logs + float64(n)*(1+math.Log(2*math.Pi*total/float64(n)))
}

// descend moves u to the trainee's mode, and leaves there the factor of lambda'Z'Z lambda + 1 in a.
// It returns the penalised sum of squares.
func (l *laplacer) descend(g int, u, next, zz, zr, a, half []float64) (float64, bool) {
	cost := l.linearOne(g, u, zz, zr)
	for range 40 {
		if !finite(cost) || !l.factorOne(zz, a, half) {
			return 0, false
		}
		lower(next, zr, l.lambda, l.q, 1)
		for k := range next {
			next[k] -= u[k]
		}
		forward(a, l.q, next, 1)
		backward(a, l.q, next, 1)
		size := 0.0
		for k := range next {
			size = math.Max(size, math.Abs(next[k]))
		}
		if size < 1e-7 { // the step still to be made leaves about its square
			for k := range u {
				u[k] += next[k]
			}
			cost = l.linearOne(g, u, zz, zr)
			return cost, finite(cost) && l.factorOne(zz, a, half)
		}
		moved := false
		for part := 1.0; part > 1e-6; part /= 2 {
			for k := range u {
				u[k] += part * next[k]
			}
			if then := l.linearOne(g, u, zz, zr); then <= cost*(1+1e-14) {
				cost, moved = then, true
				break
			}
			for k := range u {
				u[k] -= part * next[k]
			}
		}
		if !moved {
			l.linearOne(g, u, zz, zr)
			return cost, l.factorOne(zz, a, half)
		}
	}
	return cost, l.factorOne(zz, a, half)
}

// linearOne sums up one trainee's curve at u.
func (l *laplacer) linearOne(g int, u, zz, zr []float64) float64 {
	clear(zz)
	clear(zr)
	cost := 0.0
	for _, v := range u {
		cost += v * v
	}
	par := l.at(l.beta, u)
	subject := &l.subjects[g]
	for i, x := range subject.X {
		r := subject.Y[i] - l.Value(par, x, l.slope)
		cost += r * r
		for k, rk := range l.opt.Random {
			d := l.slope[rk]
			zr[k] += d * r
			for j := 0; j <= k; j++ {
				zz[k*l.q+j] += d * l.slope[l.opt.Random[j]]
			}
		}
	}
	for k := range l.q {
		for j := range k {
			zz[j*l.q+k] = zz[k*l.q+j]
		}
	}
	return cost
}

func (l *laplacer) factorOne(zz, a, half []float64) bool {
	q := l.q
	lower(half, zz, l.lambda, q, q)
	for i := range q {
		for j := 0; j <= i; j++ {
			sum := 0.0
			for k := j; k < q; k++ {
				sum += half[i*q+k] * l.lambda[k*q+j]
			}
			a[i*q+j] = sum
		}
		a[i*q+i]++
	}
	return cholesky(a, q)
}

// result writes the refined fit.
func (l *laplacer) result(from *NonlinearFit, best []float64, value float64, inv *mat.SymDense) *NonlinearFit {
	f := *from
	l.place(best)
	p, q := l.p, l.q
	f.Fixed, f.factor, f.theta = append([]float64(nil), l.beta...), append([]float64(nil), l.lambda...), best[p:]
	f.Errors, f.FixedCov, f.Effects = nil, nil, nil
	f.joint = make([][]float64, len(best))
	for i := range f.joint {
		for j := range best {
			v := inv.At(i, j)
			if i < p {
				v *= l.unit[i]
			}
			if j < p {
				v *= l.unit[j]
			}
			f.joint[i] = append(f.joint[i], v)
		}
	}
	for i := range p {
		row := make([]float64, p)
		for j := range p {
			row[j] = inv.At(i, j) * l.unit[i] * l.unit[j]
		}
		f.FixedCov, f.Errors = append(f.FixedCov, row), append(f.Errors, math.Sqrt(row[i]))
	}
	zz, a, half := make([]float64, q*q), make([]float64, q*q), make([]float64, q*q)
	zr, next, total := make([]float64, q), make([]float64, q), 0.0
	var covs [][]float64
	for g, subject := range l.subjects {
		u := append([]float64(nil), l.modes[g]...)
		cost, _ := l.descend(g, u, next, zz, zr, a, half)
		total += cost
		covs = append(covs, between(l.lambda, inverse(a, q), q))
		f.Effects = append(f.Effects, Effect{Name: subject.Name, B: times(l.lambda, u, q)})
	}
	variance := total / float64(f.N)
	f.Sigma = math.Sqrt(variance)
	scaled := func(a []float64) [][]float64 {
		out := square(a, q)
		for i := range out {
			for j := range out[i] {
				out[i][j] *= variance
			}
		}
		return out
	}
	for g := range f.Effects {
		f.Effects[g].Cov = scaled(covs[g])
	}
	identity := make([]float64, q*q)
	for i := range q {
		identity[i*q+i] = 1
	}
	f.Random = scaled(between(l.lambda, identity, q))
	parameters := float64(len(best) + 1)
	f.LogLik = -value / 2
	f.AIC, f.BIC = value+2*parameters, value+parameters*math.Log(float64(f.N))
	return &f
}
