package mixed

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a profile-likelihood interval of one parameter.
type Interval struct {
	Parameter string // "sd 1", "cor 1 2", "sigma", "fixed 1", counted from 1
	Low, High float64
}

// ErrOpen means that the likelihood does not fall far enough on one side to end an interval.
var ErrOpen = errors.New("the interval is open on one side: the data do not bound it")

// Profile gives the profile-likelihood intervals of all parameters at a confidence level: standard
// deviations (and with two correlated random effects their correlation), sigma, fixed effects.
// They are those of the maximum-likelihood fit, whichever the fit was by (a restricted likelihood
// cannot be compared across fixed effects). A lower end of a standard deviation may be 0.
//
// It is an error for a level outside 0..1, for more than two correlated random effects, when a
// refit does not settle, and [ErrOpen].
func (f *Fit) Profile(level float64) ([]Interval, error) {
	if !(level > 0 && level < 1) {
		return nil, fmt.Errorf("confidence level %g is outside 0..1: write 0.95 for 95 %%", level)
	}
	if f.s.q > 2 && !f.s.diagonal {
		return nil, errors.New("profile intervals of more than two correlated random effects are not given; fit them as independent")
	}
	s := *f.s
	s.restricted = false
	theta, m, ok := s.fit(f.theta)
	if !ok {
		return nil, ErrWanders
	}
	p := profiler{sums: &s, best: m.criterion, want: math.Sqrt(distuv.ChiSquared{K: 1}.Quantile(level))}
	p.places(theta, m)
	var out []Interval
	for i, name := range p.names {
		low, high, err := p.variance(i)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		out = append(out, Interval{name, low, high})
	}
	for j := range s.p {
		low, high, err := p.fixed(j, theta, m)
		if err != nil {
			return nil, fmt.Errorf("fixed %d: %w", j+1, err)
		}
		out = append(out, Interval{fmt.Sprintf("fixed %d", j+1), low + s.level[j], high + s.level[j]})
	}
	return out, nil
}

// profiler holds the deviance as a function of standard deviations, correlation and sigma.
type profiler struct {
	*sums
	best, want float64
	names      []string
	at0        []float64 // best place: standard deviations over unit, atanh of the correlation, log sigma over unit
	unit       []float64 // of each standard deviation; of sigma last
}

// places writes the best fit in the profiler's coordinates.
func (p *profiler) places(theta []float64, m solved) {
	sigma := math.Sqrt(p.sums.variance(m))
	identity := make([]float64, p.q*p.q)
	for i := range p.q {
		identity[i*p.q+i] = 1
	}
	cov := between(p.lambda(theta), identity, p.q)
	for i := range p.q {
		p.unit = append(p.unit, sigma*p.scale[i])
		p.at0 = append(p.at0, math.Sqrt(cov[i*p.q+i])*sigma/p.unit[i])
		p.names = append(p.names, fmt.Sprintf("sd %d", i+1))
	}
	if p.q == 2 && !p.diagonal {
		p.at0 = append(p.at0, math.Atanh(cov[1]/math.Sqrt(cov[0]*cov[3])))
		p.names = append(p.names, "cor 1 2")
	}
	p.at0 = append(p.at0, 0)
	p.unit = append(p.unit, sigma)
	p.names = append(p.names, "sigma")
}

// deviance at a place, the fixed effects at their best.
func (p *profiler) deviance(at []float64, w *work) float64 {
	q, last := p.q, len(at)-1
	sigma := math.Exp(at[last]) * p.unit[q]
	lambda := make([]float64, q*q)
	for i := range q {
		lambda[i*q+i] = at[i] * p.unit[i] / sigma
	}
	if last > q {
		rho := math.Tanh(at[q])
		lambda[q] = rho * lambda[q+1]
		lambda[q+1] *= math.Sqrt(1 - rho*rho)
	}
	m := p.with(lambda, w, false)
	n := float64(p.n)
	return m.criterion - n*(1+math.Log(2*math.Pi*m.pwrss/n)) + n*math.Log(2*math.Pi*sigma*sigma) + m.pwrss/(sigma*sigma)
}

// variance gives the interval of coordinate i.
func (p *profiler) variance(i int) (low, high float64, err error) {
	w := p.work()
	root := func(free []float64, at float64) ([]float64, float64, error) {
		place := func(free []float64) []float64 {
			v := append(append([]float64(nil), free[:i]...), at)
			return append(v, free[i:]...)
		}
		free, ok := minimise(func(x []float64) float64 { return p.deviance(place(x), w) }, free, nil)
		if !ok {
			return nil, 0, ErrWanders
		}
		return free, math.Sqrt(math.Max(0, p.deviance(place(free), w)-p.best)), nil
	}
	free := append(append([]float64(nil), p.at0[:i]...), p.at0[i+1:]...)
	step := 0.3
	floor := math.Inf(-1)
	if i < p.q {
		step = math.Max(0.1, 0.25*p.at0[i])
		floor = 0
	} else if i == len(p.at0)-1 {
		step = 1 / math.Sqrt(float64(p.n))
	}
	if low, err = edge(root, free, p.at0[i], -step, floor, p.want); err != nil {
		return 0, 0, err
	}
	if high, err = edge(root, free, p.at0[i], step, floor, p.want); err != nil {
		return 0, 0, err
	}
	back := func(v float64) float64 {
		switch {
		case i < p.q:
			return v * p.unit[i]
		case i == len(p.at0)-1:
			return math.Exp(v) * p.unit[p.q]
		}
		return math.Tanh(v)
	}
	return back(low), back(high), nil
}

// fixed gives the interval of fixed effect j: the model without it, its share taken off y.
func (p *profiler) fixed(j int, theta []float64, m solved) (low, high float64, err error) {
	root := func(free []float64, at float64) ([]float64, float64, error) {
		s := p.without(j, at)
		free, _, ok := s.fit(free)
		if !ok {
			return nil, 0, ErrWanders
		}
		return free, math.Sqrt(math.Max(0, s.at(free, s.work(), false).criterion-p.best)), nil
	}
	cov := inverse(m.rx, p.p)
	step := math.Sqrt(cov[j*p.p+j] * p.sums.variance(m))
	if low, err = edge(root, theta, m.beta[j], -step, math.Inf(-1), p.want); err != nil {
		return 0, 0, err
	}
	high, err = edge(root, theta, m.beta[j], step, math.Inf(-1), p.want)
	return low, high, err
}

// without is the sums of the model in which fixed effect j is known to be v.
func (s *sums) without(j int, v float64) *sums {
	out := newSums(s.p-1, s.q, s.diagonal, s.restricted)
	out.n, out.scale = s.n, s.scale
	skip := func(i int) int {
		if i >= j {
			return i + 1
		}
		return i
	}
	out.yy = s.yy - 2*v*s.xy[j] + v*v*s.xx[j*s.p+j]
	for i := range out.p {
		out.xy[i] = s.xy[skip(i)] - v*s.xx[skip(i)*s.p+j]
		for k := range out.p {
			out.xx[i*out.p+k] = s.xx[skip(i)*s.p+skip(k)]
		}
	}
	for _, g := range s.groups {
		h := groupSums{g.zz, make([]float64, s.q*out.p), make([]float64, s.q)}
		for k := range s.q {
			h.zy[k] = g.zy[k] - v*g.zx[k*s.p+j]
			for i := range out.p {
				h.zx[k*out.p+i] = g.zx[k*s.p+skip(i)]
			}
		}
		out.groups = append(out.groups, h)
	}
	return out
}

// edge walks from the best place in steps until the root of the fall reaches want, then closes in.
// Below floor there is nothing: when the fall is too small there, floor is the end.
func edge(root func(free []float64, at float64) ([]float64, float64, error), free []float64, from, step, floor, want float64) (float64, error) {
	near, atNear := from, 0.0
	far, atFar := from, 0.0
	var err error
	for k := 0; atFar < want; k++ {
		if k > 60 {
			return 0, ErrOpen
		}
		if far == floor {
			return floor, nil
		}
		near, atNear = far, atFar
		far = math.Max(floor, far+step)
		if free, atFar, err = root(free, far); err != nil {
			return 0, err
		}
	}
	for range 60 {
		at := near + (want-atNear)/(atFar-atNear)*(far-near)
		if !(at > math.Min(near, far) && at < math.Max(near, far)) {
			at = (near + far) / 2
		}
		var v float64
		if free, v, err = root(free, at); err != nil {
			return 0, err
		}
		if math.Abs(v-want) < 1e-7*want {
			return at, nil
		}
		if v < want {
			near, atNear = at, v
		} else {
			far, atFar = at, v
		}
	}
	return (near + far) / 2, nil
}
