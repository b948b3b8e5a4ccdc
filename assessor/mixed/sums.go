package mixed

import "math"

// sums are the cross-products the likelihood of a linear mixed model needs: it sees the data only
// through them, so that its cost does not grow with the number of drills. p fixed effects, q
// random ones.
type sums struct {
	p, q, n    int
	groups     []groupSums
	xx, xy     []float64 // p by p, p
	yy         float64
	level      []float64 // what was taken off y first, as fixed effects; nil: nothing
	scale      []float64 // units of the random effects: Lambda's rows are in these
	diagonal   bool
	restricted bool
}

type groupSums struct{ zz, zx, zy []float64 } // q by q, q by p, q

func newSums(p, q int, diagonal, restricted bool) *sums {
	return &sums{p: p, q: q, xx: make([]float64, p*p), xy: make([]float64, p), diagonal: diagonal, restricted: restricted}
}

// group starts another group; add puts its rows in.
func (s *sums) group() {
	s.groups = append(s.groups, groupSums{make([]float64, s.q*s.q), make([]float64, s.q*s.p), make([]float64, s.q)})
}

func (s *sums) add(x, z []float64, y float64) {
	g := &s.groups[len(s.groups)-1]
	s.addFixed(x, y)
	for i, a := range z {
		g.zy[i] += a * y
		for j, b := range z {
			g.zz[i*s.q+j] += a * b
		}
		for j, b := range x {
			g.zx[i*s.p+j] += a * b
		}
	}
}

func (s *sums) addFixed(x []float64, y float64) {
	s.n++
	s.yy += y * y
	for i, a := range x {
		s.xy[i] += a * y
		for j, b := range x {
			s.xx[i*s.p+j] += a * b
		}
	}
}

// ordinary is the ordinary least-squares fit; false when the fixed effects cannot be told apart.
func (s *sums) ordinary() ([]float64, bool) {
	l, beta := append([]float64(nil), s.xx...), append([]float64(nil), s.xy...)
	if !cholesky(l, s.p) {
		return nil, false
	}
	forward(l, s.p, beta, 1)
	backward(l, s.p, beta, 1)
	return beta, true
}

// units chooses the scale of each random effect: the one at which, with the variances 1, it makes
// up an equal share of the residual variance. Factors are then of order 1 whatever the units of y.
func (s *sums) units() {
	s.scale = make([]float64, s.q)
	for j := range s.q {
		sum := 0.0
		for _, g := range s.groups {
			sum += g.zz[j*s.q+j]
		}
		if sum > 0 {
			s.scale[j] = math.Sqrt(float64(s.n) / sum)
		} else {
			s.scale[j] = 1
		}
	}
}

// start is the first factor tried.
func (s *sums) start() []float64 {
	var theta []float64
	for i := range s.q {
		for j := 0; j <= i; j++ {
			switch {
			case i == j:
				theta = append(theta, 1)
			case !s.diagonal:
				theta = append(theta, 0)
			}
		}
	}
	return theta
}

// lambda writes theta as the lower triangle it stands for, in the units of the data: the
// covariance of the random effects is sigma squared times lambda lambda'.
func (s *sums) lambda(theta []float64) []float64 {
	l := make([]float64, s.q*s.q)
	k := 0
	for i := range s.q {
		for j := 0; j <= i; j++ {
			if i == j || !s.diagonal {
				l[i*s.q+j] = theta[k] * s.scale[i]
				k++
			}
		}
	}
	return l
}

// solved is the model at one theta: what is best for it.
type solved struct {
	beta      []float64
	rx        []float64 // factor of the fixed effects' information over sigma squared
	pwrss     float64   // penalised residual sum of squares
	criterion float64   // deviance, or the restricted criterion
	lz        [][]float64
	cu, rzx   [][]float64 // per group: what back-substitution needs
}

// work holds the scratch of one evaluation.
type work struct {
	lzz, t, zx, zy, rx, c []float64
}

func (s *sums) work() *work {
	return &work{make([]float64, s.q*s.q), make([]float64, s.q*s.q), make([]float64, s.q*s.p), make([]float64, s.q), make([]float64, s.p*s.p), make([]float64, s.p)}
}

// at evaluates the profiled criterion at theta (Bates et al. 2015, J Stat Softw 67(1), section 3).
// With keep, what is needed for the effects is kept. It is +Inf where the model is none.
func (s *sums) at(theta []float64, w *work, keep bool) solved {
	return s.with(s.lambda(theta), w, keep)
}

// with is at for a factor itself.
func (s *sums) with(lambda []float64, w *work, keep bool) solved {
	q, p := s.q, s.p
	copy(w.rx, s.xx)
	copy(w.c, s.xy)
	out := solved{pwrss: s.yy, criterion: math.Inf(1)}
	logL := 0.0
	for _, g := range s.groups {
		// lzz = lambda' zz lambda + 1
		lower(w.t, g.zz, lambda, q, q)
		for i := range q {
			for j := 0; j <= i; j++ {
				sum := 0.0
				for k := j; k < q; k++ {
					sum += w.t[i*q+k] * lambda[k*q+j]
				}
				w.lzz[i*q+j] = sum
			}
			w.lzz[i*q+i]++
		}
		if !cholesky(w.lzz, q) {
			return out
		}
		logL += logDet(w.lzz, q)
		lower(w.zx, g.zx, lambda, q, p)
		lower(w.zy, g.zy, lambda, q, 1)
		forward(w.lzz, q, w.zx, p)
		forward(w.lzz, q, w.zy, 1)
		for k := range q {
			out.pwrss -= w.zy[k] * w.zy[k]
			for i := range p {
				a := w.zx[k*p+i]
				w.c[i] -= a * w.zy[k]
				for j := 0; j <= i; j++ {
					w.rx[i*p+j] -= a * w.zx[k*p+j]
				}
			}
		}
		if keep {
			out.lz = append(out.lz, append([]float64(nil), w.lzz...))
			out.cu = append(out.cu, append([]float64(nil), w.zy...))
			out.rzx = append(out.rzx, append([]float64(nil), w.zx...))
		}
	}
	if !cholesky(w.rx, p) {
		return out
	}
	forward(w.rx, p, w.c, 1)
	for _, v := range w.c {
		out.pwrss -= v * v
	}
	if !(out.pwrss > 1e-12*s.yy) {
		return out
	}
	df := float64(s.n)
	out.criterion = logL
	if s.restricted {
		df -= float64(p)
		out.criterion += logDet(w.rx, p)
	}
	out.criterion += df * (1 + math.Log(2*math.Pi*out.pwrss/df))
	if keep {
		out.beta = append([]float64(nil), w.c...)
		backward(w.rx, p, out.beta, 1)
		out.rx = append([]float64(nil), w.rx...)
	}
	return out
}

// lower writes lambda' a, for a lower-triangular lambda (q by q) and a of the given columns.
func lower(into, a, lambda []float64, q, columns int) {
	for i := range q {
		for c := range columns {
			sum := 0.0
			for k := i; k < q; k++ {
				sum += lambda[k*q+i] * a[k*columns+c]
			}
			into[i*columns+c] = sum
		}
	}
}

// variance is the residual variance that belongs to a solution.
func (s *sums) variance(m solved) float64 {
	df := float64(s.n)
	if s.restricted {
		df -= float64(s.p)
	}
	return m.pwrss / df
}

// fit searches theta from a start.
func (s *sums) fit(theta []float64) ([]float64, solved, bool) {
	w := s.work()
	theta, ok := minimise(func(t []float64) float64 { return s.at(t, w, false).criterion }, theta, nil)
	return theta, s.at(theta, w, true), ok
}

// effects gives each group's random effects and, in units of sigma squared, their conditional
// covariance given the fixed effects.
func (s *sums) effects(theta []float64, m solved) (b, cov [][]float64) {
	q := s.q
	lambda := s.lambda(theta)
	for g := range s.groups {
		u := append([]float64(nil), m.cu[g]...)
		for k := range q {
			for i, beta := range m.beta {
				u[k] -= m.rzx[g][k*s.p+i] * beta
			}
		}
		backward(m.lz[g], q, u, 1)
		b = append(b, times(lambda, u, q))
		cov = append(cov, between(lambda, inverse(m.lz[g], q), q))
	}
	return b, cov
}

// times is lambda u.
func times(lambda, u []float64, q int) []float64 {
	out := make([]float64, q)
	for i := range q {
		for k := 0; k <= i; k++ {
			out[i] += lambda[i*q+k] * u[k]
		}
	}
	return out
}

// between is lambda a lambda'.
func between(lambda, a []float64, q int) []float64 {
	half, out := make([]float64, q*q), make([]float64, q*q)
	for i := range q {
		for j := range q {
			for k := 0; k <= i; k++ {
				half[i*q+j] += lambda[i*q+k] * a[k*q+j]
			}
		}
	}
	for i := range q {
		for j := range q {
			for k := 0; k <= j; k++ {
				out[i*q+j] += half[i*q+k] * lambda[j*q+k]
			}
		}
	}
	return out
}
