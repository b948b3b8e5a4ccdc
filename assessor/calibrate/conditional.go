package calibrate

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The conditional likelihood. Column i has category parameters beta(i,h), h = 1..top, and
// P(X = h) is proportional to exp(h theta - beta(i,h)). Given the columns a person answered and
// the total r, the probability of the responses is exp(-sum of beta) / gamma(r), where gamma is the
// sum of exp(-sum of beta) over all response vectors with total r; theta is gone.
//
// Sums over response vectors are convolutions of the columns' distributions, forwards and
// backwards, of positive terms only, so nothing cancels. They are taken at the theta for which the
// expected total is r, which keeps them far from underflow and changes no conditional probability.

// weight is one free parameter's share in a category parameter.
type weight struct {
	free int
	by   float64
}

// group is persons who answered the same columns with the same total.
type group struct {
	columns []int
	total   int
	persons float64
	theta   float64 // where the expected total is the total, kept as a start
}

// conditional is a calibration problem: beta = linear function of the free parameters.
type conditional struct {
	top    []int
	first  []int // place of beta(i,1) among all
	betas  int
	free   int
	rows   [][]weight // one for each beta
	counts []float64  // how often each (i,h) was given, h >= 1
	groups []*group
	widest int // most columns of a group
}

func newConditional(t *table, free int, row func(column, h int) []weight) *conditional {
	c := &conditional{top: t.top, free: free}
	for i, top := range t.top {
		c.first = append(c.first, c.betas)
		c.betas += top
		for h := 1; h <= top; h++ {
			c.rows = append(c.rows, row(i, h))
		}
	}
	c.counts = make([]float64, c.betas)
	seen := map[string]*group{}
	for p, x := range t.x {
		if !t.informative(p) {
			continue
		}
		g := &group{}
		var key []byte
		for i, v := range x {
			if v == absent {
				continue
			}
			g.columns = append(g.columns, i)
			g.total += v
			key = append(key, byte(i), byte(i>>8))
			if v > 0 {
				c.counts[c.first[i]+v-1]++
			}
		}
		key = append(key, 255, byte(g.total), byte(g.total>>8))
		if known := seen[string(key)]; known != nil {
			known.persons++
			continue
		}
		g.persons = 1
		seen[string(key)] = g
		c.groups = append(c.groups, g)
		c.widest = max(c.widest, len(g.columns))
	}
	return c
}

// work estimates the operations of one exact information matrix.
func (c *conditional) work() float64 {
	sum := 0.0
	for _, g := range c.groups {
		top := 0
		for _, i := range g.columns {
			top = max(top, c.top[i])
		}
		n := float64(len(g.columns))
		sum += n * n / 2 * float64(g.total+1) * float64(3*top+1)
	}
	return sum
}

// beta spreads the free parameters over the category parameters.
func (c *conditional) beta(free []float64) []float64 {
	out := make([]float64, c.betas)
	for b, row := range c.rows {
		for _, w := range row {
			out[b] += w.by * free[w.free]
		}
	}
	return out
}

// detail says what an evaluation should include.
type detail int

const (
	slope       detail = iota // the likelihood and its slope
	approximate               // and the information, to the first order in the number of columns
	exact                     // and the information
)

// evaluation is the log-likelihood with its slope and information in the free parameters.
type evaluation struct {
	value       float64
	slope       []float64
	information *mat.SymDense
}

func (c *conditional) at(free []float64, want detail) *evaluation {
	beta := c.beta(free)
	sum := &sums{c: c, beta: beta, slope: make([]float64, c.betas)}
	if want != slope {
		sum.information = make([]float64, c.betas*c.betas)
	}
	for b, n := range c.counts {
		sum.value -= n * beta[b]
		sum.slope[b] = -n
	}
	for _, g := range c.groups {
		sum.add(g, want)
	}
	return c.collect(sum, want)
}

// collect takes the category parameters' slope and information to the free parameters.
func (c *conditional) collect(s *sums, want detail) *evaluation {
	out := &evaluation{value: s.value, slope: make([]float64, c.free)}
	for b, row := range c.rows {
		for _, w := range row {
			out.slope[w.free] += w.by * s.slope[b]
		}
	}
	if want == slope {
		return out
	}
	half := mat.NewDense(c.betas, c.free, nil)
	for a := range c.betas {
		for b := range c.betas {
			v := s.information[min(a, b)*c.betas+max(a, b)]
			for _, w := range c.rows[b] {
				half.Set(a, w.free, half.At(a, w.free)+w.by*v)
			}
		}
	}
	out.information = mat.NewSymDense(c.free, nil)
	whole := mat.NewDense(c.free, c.free, nil)
	for a, row := range c.rows {
		for _, w := range row {
			for k := range c.free {
				whole.Set(w.free, k, whole.At(w.free, k)+w.by*half.At(a, k))
			}
		}
	}
	for a := range c.free {
		for b := a; b < c.free; b++ {
			out.information.SetSym(a, b, (whole.At(a, b)+whole.At(b, a))/2)
		}
	}
	return out
}

const (
	mostIterations = 200
	settled        = 1e-10 // largest change of a parameter in the last step, logits
	farthest       = 35.0  // a parameter beyond this is on its way to infinity
	exactWork      = 5e7   // operations below which every step takes the exact information
	mostExact      = 5e10  // and above which not even the last does
)

var (
	errFar       = errors.New("some parameter has no finite estimate: the responses are separated")
	errSingular  = errors.New("these responses do not compare all parameters with each other, so some have no estimate; let the same persons meet more of the items and raters")
	errUnsettled = errors.New("the conditional likelihood did not reach its maximum within 200 steps; no estimate is given")
)

// maximise climbs by Newton steps, shortened until they climb, and returns the estimate with the
// evaluation there and the covariance. The covariance is exact unless that would take minutes; then
// there are so many columns that the first order is as good.
func (c *conditional) maximise(start []float64) ([]float64, *evaluation, *mat.SymDense, error) {
	want := exact
	if c.work() > exactWork {
		want = approximate
	}
	free := slices.Clone(start)
	now := c.at(free, want)
	for step := 0; ; step++ {
		if step == mostIterations {
			return nil, nil, nil, errUnsettled
		}
		if step == 30 && want != exact && c.work() <= mostExact {
			want = exact
			now = c.at(free, want)
		}
		var chol mat.Cholesky
		if !chol.Factorize(now.information) || chol.Cond() > 1e13 {
			return nil, nil, nil, c.lost(free)
		}
		var by mat.VecDense
		if err := chol.SolveVecTo(&by, mat.NewVecDense(c.free, slices.Clone(now.slope))); err != nil {
			return nil, nil, nil, c.lost(free)
		}
		next, change, ok := c.climb(free, &by, now, want)
		now = next
		if tooFar(free) {
			return nil, nil, nil, errFar
		}
		if !ok || change < settled {
			break
		}
	}
	final := now
	if c.work() <= mostExact {
		final = c.at(free, exact)
	}
	var chol mat.Cholesky
	var covariance mat.SymDense
	if !chol.Factorize(final.information) || chol.Cond() > 1e13 || chol.InverseTo(&covariance) != nil {
		return nil, nil, nil, c.lost(free)
	}
	// At the maximum a further step would change nothing that is printed.
	var by mat.VecDense
	if chol.SolveVecTo(&by, mat.NewVecDense(c.free, slices.Clone(final.slope))) != nil || mat.Norm(&by, math.Inf(1)) > 1e-6 {
		return nil, nil, nil, errUnsettled
	}
	return free, final, &covariance, nil
}

// climb moves free along the step as far as the likelihood rises, and evaluates it there; the
// change is the largest of a parameter, and false says that no length rises.
func (c *conditional) climb(free []float64, by *mat.VecDense, now *evaluation, want detail) (there *evaluation, change float64, ok bool) {
	largest := mat.Norm(by, math.Inf(1))
	length := math.Min(1, 4/largest)
	for ; length*largest > 1e-13; length /= 2 {
		next := slices.Clone(free)
		for k := range next {
			next[k] += length * by.AtVec(k)
		}
		// The likelihood is known to rounding only, so the last steps may seem to fall.
		if there = c.at(next, want); there.value >= now.value-1e-11*math.Abs(now.value) {
			copy(free, next)
			return there, length * largest, true
		}
	}
	return now, 0, false
}

func tooFar(free []float64) bool {
	return slices.ContainsFunc(free, func(v float64) bool { return !(math.Abs(v) < farthest) })
}

// lost says why the information became singular: parameters that ran away, or that were never
// compared.
func (c *conditional) lost(free []float64) error {
	for _, v := range free {
		if math.Abs(v) > 12 {
			return errFar
		}
	}
	return errSingular
}
