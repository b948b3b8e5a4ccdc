package agree

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// The covariance of all scores is V = R + W K W'. R is made of one block for each person, from the
// residual and the effects that carry the person; K is the covariance, among cells (item and
// rater), of the effects that do not; W says which cell each score stands in. So nothing larger
// than cells by cells is ever factorised, and persons with scores in the same cells share one
// block.
//
// One block is R = D + U U', where D holds the residual and one effect with its groups apart
// (person by item, or person by rater), whose inverse is known, and U the few effects left.

// random is an effect other than the residual, as the equations use it.
type random struct {
	index  int // in the design
	own    bool
	labels []int // label of each cell
	n      int   // how many labels
}

// pattern is a set of cells that one or more persons have scores in.
type pattern struct {
	cells   []int
	persons int
	blocks  []float64 // number of scores in each group of the effect in D
	shrink  []float64 // for the inverse of D, by group
	low     *mat.Dense
}

// equations holds the data in the order the likelihood needs; make it once for a study.
type equations struct {
	l        *layout
	effects  []random // all but the residual
	apart    int      // index into effects of the one in D, or -1
	patterns []*pattern
	of       []int // pattern of each person
	residual int   // index of the residual in the design

	// Room that is used again, so that equations serve one goroutine at a time.
	product mat.Dense
	buffers [3][]float64
}

// sized is zeroed room for n numbers, one of three that may be in use at once.
func (e *equations) sized(which, n int) []float64 {
	if cap(e.buffers[which]) < n {
		e.buffers[which] = make([]float64, n)
	}
	b := e.buffers[which][:n]
	clear(b)
	return b
}

// mostWork bounds the floating-point operations of one evaluation.
const mostWork = 4e11

func newEquations(l *layout) (*equations, error) {
	e := &equations{l: l, apart: -1}
	design := l.design.effects()
	e.residual = len(design) - 1
	for i, d := range design[:e.residual] {
		labels, n := l.label(d.of)
		e.effects = append(e.effects, random{i, d.of&person != 0, labels, n})
	}
	for k, r := range e.effects {
		if r.own && r.n > 1 && (e.apart < 0 || r.n > e.effects[e.apart].n) {
			e.apart = k
		}
	}
	seen := map[string]int{}
	for p := range l.persons {
		cells := l.cell[l.start[p]:l.start[p+1]]
		key := make([]byte, 0, 2*len(cells))
		for _, c := range cells {
			key = append(key, byte(c), byte(c>>8))
		}
		at, known := seen[string(key)]
		if !known {
			at = len(e.patterns)
			seen[string(key)] = at
			e.patterns = append(e.patterns, e.newPattern(cells))
		}
		e.patterns[at].persons++
		e.of = append(e.of, at)
	}
	work := 0.0
	for _, p := range e.patterns {
		n := float64(len(p.cells))
		for _, r := range e.effects {
			if r.own {
				work += n * n * float64(r.n)
			}
		}
	}
	if work > mostWork {
		return nil, errors.New("these scores have too many different gaps for a study of their size; take fewer persons, or items and raters that all persons have")
	}
	return e, nil
}

func (e *equations) newPattern(cells []int) *pattern {
	p := &pattern{cells: cells}
	if e.apart >= 0 {
		r := e.effects[e.apart]
		p.blocks, p.shrink = make([]float64, r.n), make([]float64, r.n)
		for _, c := range cells {
			p.blocks[r.labels[c]]++
		}
	}
	q := 0
	for k, r := range e.effects {
		if r.own && k != e.apart {
			q += r.n
		}
	}
	p.low = mat.NewDense(len(cells), q, nil)
	return p
}

// solveD puts the inverse of D times v in place of v.
func (e *equations) solveD(p *pattern, residual float64, v, sums []float64) {
	if e.apart >= 0 {
		labels := e.effects[e.apart].labels
		clear(sums)
		for a, c := range p.cells {
			sums[labels[c]] += v[a]
		}
		for a, c := range p.cells {
			v[a] -= p.shrink[labels[c]] * sums[labels[c]]
		}
	}
	for a := range v {
		v[a] /= residual
	}
}

// factor prepares the inverse of the block of a pattern, R^-1 = D^-1 - low low', and returns
// log det R. It is false when the variances make no covariance.
func (e *equations) factor(p *pattern, variances []float64) (logdet float64, ok bool) {
	residual := variances[e.residual]
	logdet = float64(len(p.cells)) * math.Log(residual)
	var sums []float64
	if e.apart >= 0 {
		v := variances[e.effects[e.apart].index]
		sums = make([]float64, len(p.blocks))
		for g, n := range p.blocks {
			p.shrink[g] = v / (residual + n*v)
			logdet += math.Log1p(n * v / residual)
		}
	}
	n, q := p.low.Dims()
	raw := mat.NewDense(n, q, e.sized(0, n*q)) // U
	solved := mat.NewDense(n, q, e.sized(1, n*q))
	column := make([]float64, n)
	at := 0
	for k, r := range e.effects {
		if !r.own || k == e.apart {
			continue
		}
		root := math.Sqrt(variances[r.index])
		for a, c := range p.cells {
			raw.Set(a, at+r.labels[c], root)
		}
		for g := range r.n {
			mat.Col(column, at+g, raw)
			e.solveD(p, residual, column, sums)
			solved.SetCol(at+g, column)
		}
		at += r.n
	}
	inner := mat.NewSymDense(q, nil)
	for a := range q {
		for b := a; b < q; b++ {
			v := mat.Dot(raw.ColView(a), solved.ColView(b))
			if a == b {
				v++
			}
			inner.SetSym(a, b, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(inner) {
		return 0, false
	}
	// low = solved L'^-1, so that low low' = solved (L L')^-1 solved'.
	var lower mat.TriDense
	chol.LTo(&lower)
	if q > 0 {
		var inverse mat.TriDense
		if err := inverse.InverseTri(&lower); err != nil {
			if _, ill := err.(mat.Condition); !ill {
				return 0, false
			}
		}
		p.low.Mul(solved, inverse.T())
	}
	return logdet + chol.LogDet(), true
}

// solve puts R^-1 v in place of v for one person; room is as long as low is wide.
func (e *equations) solve(p *pattern, residual float64, v, sums, room []float64) {
	n, q := p.low.Dims()
	clear(room)
	for a := range n {
		for b, x := range p.low.RawRowView(a)[:q] {
			room[b] += x * v[a]
		}
	}
	// low' v uses v itself, not D^-1 v: low already holds D^-1.
	e.solveD(p, residual, v, sums)
	for a := range n {
		for b, x := range p.low.RawRowView(a)[:q] {
			v[a] -= x * room[b]
		}
	}
}

// addInverse adds the persons of a pattern to S, the sum over persons of W' R^-1 W.
func (e *equations) addInverse(p *pattern, residual float64, s *mat.SymDense) {
	n, _ := p.low.Dims()
	times := float64(p.persons)
	e.product.Reset()
	e.product.Mul(p.low, p.low.T())
	for a := range n {
		row := e.product.RawRowView(a)
		for b := a; b < n; b++ {
			v := -row[b]
			if a == b {
				v += 1 / residual
			}
			if e.apart >= 0 {
				labels := e.effects[e.apart].labels
				if labels[p.cells[a]] == labels[p.cells[b]] {
					v -= p.shrink[labels[p.cells[a]]] / residual
				}
			}
			s.SetSym(p.cells[a], p.cells[b], s.At(p.cells[a], p.cells[b])+times*v)
		}
	}
}

// addTrace adds the persons of a pattern to T, the sum of W' R^-1 A A' R^-1 W for an effect r that
// carries the person with the groups A, and returns what they add to the trace of R^-1 A A'.
func (e *equations) addTrace(p *pattern, residual float64, r random, t *mat.SymDense) float64 {
	n, _ := p.low.Dims()
	columns := mat.NewDense(n, r.n, e.sized(2, n*r.n))
	column := make([]float64, n)
	_, q := p.low.Dims()
	room := make([]float64, q)
	var sums []float64
	if e.apart >= 0 {
		sums = make([]float64, len(p.blocks))
	}
	trace := 0.0
	for g := range r.n {
		any := false
		for a, c := range p.cells {
			column[a] = 0
			if r.labels[c] == g {
				column[a], any = 1, true
			}
		}
		if !any {
			continue
		}
		e.solve(p, residual, column, sums, room)
		for a, c := range p.cells {
			if r.labels[c] == g {
				trace += column[a]
			}
		}
		columns.SetCol(g, column)
	}
	times := float64(p.persons)
	e.product.Reset()
	e.product.Mul(columns, columns.T())
	for a := range n {
		row := e.product.RawRowView(a)
		for b := a; b < n; b++ {
			t.SetSym(p.cells[a], p.cells[b], t.At(p.cells[a], p.cells[b])+times*row[b])
		}
	}
	return times * trace
}
