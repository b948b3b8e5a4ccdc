package agree

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Bounds of the search, in units in which the scores have variance 1.
const (
	mostSteps   = 200
	fine        = 1e-9 // largest change of a standard deviation in the last step, for an estimate
	rough       = 1e-5 // and for a point of a profile, which it moves by its square only
	slack       = 1e-12
	leastRest   = 1e-10 // a residual variance below this means that the effects explain everything
	leastAtEdge = 1e-12 // a variance below this with a falling likelihood is put to 0
)

var (
	errExplained = errors.New("the effects explain the scores wholly, so no residual variation is left and the components cannot be told; take more scores")
	errNoMaximum = errors.New("the restricted likelihood did not reach its maximum within 200 steps; no component is given")
)

// maximise finds the variances (in the order of the design, residual last, each at least 0) that
// maximise the restricted likelihood, from the start given, by average-information steps that are
// shortened until they climb, until the last changes no standard deviation by more than settled. A
// variance with hold[k] stays at its start.
func (e *equations) maximise(start []float64, hold []bool, settled float64) ([]float64, *likelihood, error) {
	v := append([]float64(nil), start...)
	now, ok := e.at(v)
	if !ok {
		return nil, nil, errExplained
	}
	damping := 0.0
	for range mostSteps {
		free := e.free(v, now, hold)
		if len(free) == 0 {
			return v, now, nil
		}
		step, ok := now.step(free, damping)
		if !ok {
			damping = math.Max(10*damping, 1e-6)
			if damping > 1e6 {
				return nil, nil, errNoMaximum
			}
			continue
		}
		next, there := e.climb(v, step, now)
		if there == nil {
			if small(step, v) || damping > 1e6 {
				return v, now, nil
			}
			damping = math.Max(10*damping, 1e-4)
			continue
		}
		if next[e.residual] < leastRest {
			return nil, nil, errExplained
		}
		done := damping == 0 && moved(next, v) < settled
		v, now, damping = next, there, damping/10
		if damping < 1e-8 {
			damping = 0
		}
		if done && e.atRest(v, now, hold) {
			return v, now, nil
		}
	}
	return nil, nil, errNoMaximum
}

// free lists the variances that may move: not held, and not at 0 with a likelihood that falls.
func (e *equations) free(v []float64, now *likelihood, hold []bool) []int {
	var out []int
	for k := range v {
		if hold != nil && hold[k] {
			continue
		}
		if k != e.residual && v[k] < leastAtEdge && now.score[k] <= 0 {
			v[k] = 0
			continue
		}
		out = append(out, k)
	}
	return out
}

// atRest says whether no variance at 0 wants to rise.
func (e *equations) atRest(v []float64, now *likelihood, hold []bool) bool {
	for k := range v {
		if (hold == nil || !hold[k]) && v[k] == 0 && now.score[k] > 1e-6*float64(len(e.l.y)) {
			return false
		}
	}
	return true
}

// step solves the average information, damped on its diagonal, for the free variances.
func (l *likelihood) step(free []int, damping float64) ([]float64, bool) {
	n := len(free)
	a := mat.NewSymDense(n, nil)
	b := mat.NewVecDense(n, nil)
	for i, k := range free {
		b.SetVec(i, l.score[k])
		for j := i; j < n; j++ {
			a.SetSym(i, j, l.information.At(k, free[j]))
		}
	}
	// The average information of an effect that the scores do not show at all is 0: the floor lets
	// its variance fall to 0 in one step.
	top := 0.0
	for i := range n {
		top = math.Max(top, a.At(i, i))
	}
	for i := range n {
		a.SetSym(i, i, a.At(i, i)*(1+damping)+1e-9*top)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, b); err != nil {
		if _, ill := err.(mat.Condition); !ill {
			return nil, false
		}
	}
	out := make([]float64, len(l.score))
	for i, k := range free {
		out[k] = x.AtVec(i)
	}
	return out, true
}

// climb goes along the step, shortened until the likelihood does not fall, and stops at 0. The
// likelihood is nil when no length climbs.
func (e *equations) climb(v, step []float64, now *likelihood) ([]float64, *likelihood) {
	for length := 1.0; length > 1e-6; length /= 2 {
		next := make([]float64, len(v))
		for k := range v {
			next[k] = math.Max(0, v[k]+length*step[k])
		}
		next[e.residual] = math.Max(next[e.residual], v[e.residual]/10)
		there, ok := e.at(next)
		if ok && there.value >= now.value-slack*math.Abs(now.value) {
			return next, there
		}
	}
	return nil, nil
}

func small(step, v []float64) bool {
	for k, s := range step {
		if math.Abs(s) > 1e-7*(1e-3+v[k]) {
			return false
		}
	}
	return true
}

func moved(a, b []float64) float64 {
	most := 0.0
	for k := range a {
		most = math.Max(most, math.Abs(math.Sqrt(a[k])-math.Sqrt(b[k])))
	}
	return most
}

// distinct says whether the covariances of the effects (and the mean) differ enough in these
// data for their variances to be told apart: their Gram matrix, tr V_j V_k, must not be singular.
func (e *equations) distinct() error {
	design := e.l.design.effects()
	k := len(design) + 1 // the last is the mean, whose matrix is all ones
	gram := mat.NewSymDense(k, nil)
	of := func(j int) facets {
		if j == len(design) {
			return 0
		}
		return design[j].of
	}
	for i := range k {
		for j := i; j < k; j++ {
			gram.SetSym(i, j, e.l.together(of(i)|of(j)))
		}
	}
	for i := range k {
		for j := i + 1; j < k; j++ {
			gram.SetSym(i, j, gram.At(i, j)/math.Sqrt(gram.At(i, i)*gram.At(j, j)))
		}
	}
	for i := range k {
		gram.SetSym(i, i, 1)
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(gram, true) {
		return errNoMaximum
	}
	if eigen.Values(nil)[0] > 1e-9 {
		return nil
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var names []string
	for j, d := range design {
		if math.Abs(vectors.At(j, 0)) > 0.1 {
			names = append(names, d.name)
		}
	}
	return &confounded{names}
}

// confounded says which effects these scores cannot tell apart.
type confounded struct{ names []string }

func (c *confounded) Error() string {
	s := "these scores cannot tell the components"
	for i, n := range c.names {
		switch {
		case i == 0:
			s += " " + n
		case i == len(c.names)-1:
			s += " and " + n
		default:
			s += ", " + n
		}
	}
	return s + " apart: let some persons be scored by several raters or on several items, and take a design without the effects that are missing"
}

// together is the number of ordered pairs of scores that share a group of the effect.
func (l *layout) together(of facets) float64 {
	labels, n := l.label(of)
	own := of&person != 0
	count := make([]float64, n)
	sum := 0.0
	flush := func() {
		for g, v := range count {
			sum += v * v
			count[g] = 0
		}
	}
	for p := range l.persons {
		for k := l.start[p]; k < l.start[p+1]; k++ {
			count[labels[l.cell[k]]]++
		}
		if own {
			flush()
		}
	}
	flush()
	return sum
}
