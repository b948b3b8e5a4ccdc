package agree

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// likelihood is the restricted log-likelihood at given variances, with what a step needs.
type likelihood struct {
	value       float64
	score       []float64     // derivative in each variance
	information *mat.SymDense // average information, by variance
	mean        float64       // generalized least squares estimate of the mean
	meanVar     float64
}

// at evaluates the restricted likelihood of y ~ N(mean, V): Patterson and Thompson 1971 (Biometrika
// 58:545-54); the average information is that of Gilmour, Thompson and Cullis 1995 (Biometrics
// 51:1440-50). The constant is the one that leaves out nothing but log det X'X.
func (e *equations) at(variances []float64) (*likelihood, bool) {
	l := e.l
	cells, residual := len(l.cellItem), variances[e.residual]
	n := len(l.y)
	out := &likelihood{score: make([]float64, len(variances))}
	s := mat.NewSymDense(cells, nil)
	traces := make([]float64, len(e.effects))
	inner := make([]*mat.SymDense, len(e.effects))
	for k, r := range e.effects {
		if r.own {
			inner[k] = mat.NewSymDense(cells, nil)
		}
	}
	logdet := 0.0
	for _, p := range e.patterns {
		d, ok := e.factor(p, variances)
		if !ok {
			return nil, false
		}
		logdet += float64(p.persons) * d
		e.addInverse(p, residual, s)
		for k, r := range e.effects {
			if r.own {
				traces[k] += e.addTrace(p, residual, r, inner[k])
			}
		}
	}
	h, c, more, ok := e.among(variances, s)
	if !ok {
		return nil, false
	}
	logdet += more

	// The mean: x = V^-1 1.
	ones := make([]float64, n)
	for k := range ones {
		ones[k] = 1
	}
	x, oneOne := e.solveV(ones, variances, c)
	oneY := dot(x, l.y)
	out.mean, out.meanVar = oneY/oneOne, 1/oneOne
	rest := make([]float64, n)
	for k, v := range l.y {
		rest[k] = v - out.mean
	}
	py, yPy := e.solveV(rest, variances, c)
	out.value = -0.5 * (float64(n-1)*math.Log(2*math.Pi) + logdet + math.Log(oneOne) + yPy)

	// Trace of P V_k for each variance; the residual's from the sum, which is n-1.
	left := float64(n - 1)
	changed := make([][]float64, len(variances)) // V_k P y
	for k, r := range e.effects {
		var trace float64
		if r.own {
			trace = traces[k] - traceOf(c, inner[k])
		} else {
			trace = groupTrace(h, r)
		}
		vx := e.spread(x, r)
		trace -= dot(x, vx) / oneOne
		left -= variances[r.index] * trace
		f := e.spread(py, r)
		changed[r.index] = f
		out.score[r.index] = 0.5 * (dot(py, f) - trace)
	}
	changed[e.residual] = py
	out.score[e.residual] = 0.5 * (dot(py, py) - left/residual)
	out.information = e.average(changed, x, oneOne, variances, c)
	return out, finite(out.value) && finite(out.score...)
}

// among combines the effects that do not carry the person. S is W' R^-1 W; it returns
// H = W' V^-1 W = (S^-1 + K)^-1, C = (K^-1 + S)^-1 = K - K H K, and log det (I + K S).
func (e *equations) among(variances []float64, s *mat.SymDense) (h, c *mat.Dense, logdet float64, ok bool) {
	cells := len(e.l.cellItem)
	k := mat.NewSymDense(cells, nil)
	for _, r := range e.effects {
		if r.own || variances[r.index] == 0 {
			continue
		}
		for a := range cells {
			for b := a; b < cells; b++ {
				if r.labels[a] == r.labels[b] {
					k.SetSym(a, b, k.At(a, b)+variances[r.index])
				}
			}
		}
	}
	var cholS, cholB mat.Cholesky
	if !cholS.Factorize(s) {
		return nil, nil, 0, false
	}
	var lower mat.TriDense
	cholS.LTo(&lower)
	var half, whole mat.Dense
	half.Mul(k, &lower)
	whole.Mul(lower.T(), &half)
	b := mat.NewSymDense(cells, nil)
	for i := range cells {
		for j := i; j < cells; j++ {
			v := (whole.At(i, j) + whole.At(j, i)) / 2
			if i == j {
				v++
			}
			b.SetSym(i, j, v)
		}
	}
	if !cholB.Factorize(b) {
		return nil, nil, 0, false
	}
	// H = L B^-1 L'
	var solved mat.Dense
	if err := cholB.SolveTo(&solved, lower.T()); err != nil {
		if _, ill := err.(mat.Condition); !ill {
			return nil, nil, 0, false
		}
	}
	h = new(mat.Dense)
	h.Mul(&lower, &solved)
	c = new(mat.Dense)
	var hk mat.Dense
	hk.Mul(h, k)
	c.Mul(k, &hk)
	c.Sub(k, c)
	return h, c, cholB.LogDet(), true
}

// solveV is V^-1 v, and v' V^-1 v.
func (e *equations) solveV(v, variances []float64, c *mat.Dense) (out []float64, quadratic float64) {
	_, cellSums := e.solveR(v, variances)
	var shift mat.VecDense
	shift.MulVec(c, mat.NewVecDense(len(cellSums), cellSums))
	moved := make([]float64, len(v))
	for k, cell := range e.l.cell {
		moved[k] = v[k] - shift.AtVec(cell)
	}
	out, _ = e.solveR(moved, variances)
	return out, dot(v, out)
}

// solveR is R^-1 v, and its sums by cell.
func (e *equations) solveR(v, variances []float64) (out, cellSums []float64) {
	l := e.l
	out = make([]float64, len(v))
	copy(out, v)
	cellSums = make([]float64, len(l.cellItem))
	var sums, room []float64
	if e.apart >= 0 {
		sums = make([]float64, e.effects[e.apart].n)
	}
	_, q := e.patterns[0].low.Dims()
	room = make([]float64, q)
	for p := range l.persons {
		e.solve(e.patterns[e.of[p]], variances[e.residual], out[l.start[p]:l.start[p+1]], sums, room)
	}
	for k, c := range l.cell {
		cellSums[c] += out[k]
	}
	return out, cellSums
}

// spread is A A' v for the groups A of an effect: each score gets the sum of v over its group.
func (e *equations) spread(v []float64, r random) []float64 {
	l := e.l
	out := make([]float64, len(v))
	sums := make([]float64, r.n)
	if !r.own {
		for k, c := range l.cell {
			sums[r.labels[c]] += v[k]
		}
		for k, c := range l.cell {
			out[k] = sums[r.labels[c]]
		}
		return out
	}
	for p := range l.persons {
		clear(sums)
		for k := l.start[p]; k < l.start[p+1]; k++ {
			sums[r.labels[l.cell[k]]] += v[k]
		}
		for k := l.start[p]; k < l.start[p+1]; k++ {
			out[k] = sums[r.labels[l.cell[k]]]
		}
	}
	return out
}

// average is the average information: y' P V_j P V_k P y / 2.
func (e *equations) average(changed [][]float64, x []float64, oneOne float64, variances []float64, c *mat.Dense) *mat.SymDense {
	k := len(changed)
	out := mat.NewSymDense(k, nil)
	solved, byCell, onX := make([][]float64, k), make([]*mat.VecDense, k), make([]float64, k)
	for j, f := range changed {
		var sums []float64
		solved[j], sums = e.solveR(f, variances)
		byCell[j] = mat.NewVecDense(len(sums), sums)
		onX[j] = dot(x, f)
	}
	for i := range k {
		for j := i; j < k; j++ {
			v := dot(changed[i], solved[j]) - mat.Inner(byCell[i], c, byCell[j]) - onX[i]*onX[j]/oneOne
			out.SetSym(i, j, v/2)
		}
	}
	return out
}

// traceOf is the trace of C T.
func traceOf(c *mat.Dense, t *mat.SymDense) float64 {
	n, _ := c.Dims()
	sum := 0.0
	for a := range n {
		for b, v := range c.RawRowView(a) {
			sum += v * t.At(b, a)
		}
	}
	return sum
}

// groupTrace is the trace of H A A' for the groups A of cells.
func groupTrace(h *mat.Dense, r random) float64 {
	n, _ := h.Dims()
	sum := 0.0
	for a := range n {
		for b := range n {
			if r.labels[a] == r.labels[b] {
				sum += h.At(a, b)
			}
		}
	}
	return sum
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}
