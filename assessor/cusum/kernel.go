package cusum

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// kernel is a chart of normal measures on the scores from low to high that do not signal: density
// gives how likely the next score is y after score x, and sticks the probability that it is low
// itself (a CUSUM's 0; nil when no score is likelier than its neighbours).
//
// Integrals are sums over Gauss-Legendre nodes (Nystrom's method), which for these smooth kernels
// comes to rounding with a few nodes for each width of the kernel.
type kernel struct {
	low, high float64
	width     float64 // standard deviation of the next score
	density   func(y, x float64) float64
	sticks    func(x float64) float64
}

// mostNodes bounds the work of a kernel: a second or so.
const mostNodes = 600

var errFine = errors.New("the limit is so far from 0, against the size of one step, that run lengths cannot be computed in reasonable time; choose a nearer limit or a larger weight")

func (k kernel) nodes() (x, weight []float64, err error) {
	n := 24 + int(math.Ceil(6*(k.high-k.low)/k.width))
	if n > mostNodes {
		return nil, nil, errFine
	}
	x, weight = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, weight, k.low, k.high)
	return x, weight, nil
}

// solution is the mean run length L at the nodes (and at low, last, when the kernel sticks).
type solution struct {
	kernel
	x, weight, l []float64
	atLow        float64
}

// solve finds the mean run length from every score: L(x) = 1 + L(low) sticks(x) +
// integral of L(y) density(y, x) dy (Page 1954, Biometrika 41:100-15).
func (k kernel) solve() (solution, error) {
	x, weight, err := k.nodes()
	if err != nil {
		return solution{}, err
	}
	n := len(x)
	size := n
	from := x
	if k.sticks != nil {
		size, from = n+1, append(append([]float64(nil), x...), k.low)
	}
	a := mat.NewDense(size, size, nil)
	b := mat.NewVecDense(size, nil)
	for i, xi := range from {
		for j := range n {
			a.Set(i, j, -weight[j]*k.density(x[j], xi))
		}
		if k.sticks != nil {
			a.Set(i, n, -k.sticks(xi))
		}
		a.Set(i, i, a.At(i, i)+1)
		b.SetVec(i, 1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		var condition mat.Condition
		if !errors.As(err, &condition) || math.IsInf(float64(condition), 1) {
			return solution{}, errors.New("signals are so rare that the mean run length cannot be computed; choose a nearer limit")
		}
	}
	s := solution{kernel: k, x: x, weight: weight, l: make([]float64, n)}
	for i := range n {
		s.l[i] = l.AtVec(i)
	}
	if k.sticks != nil {
		s.atLow = l.AtVec(n)
	}
	return s, nil
}

// from is the mean run length from any score, by the equation itself.
func (s solution) from(x float64) float64 {
	l := 1.0
	if s.sticks != nil {
		l += s.atLow * s.sticks(x)
	}
	for j, y := range s.x {
		l += s.weight[j] * s.l[j] * s.density(y, x)
	}
	return l
}

// survivors is the probability of no signal after 1, 2 ... n measures from score start.
func (k kernel) survivors(start float64, n int) ([]float64, error) {
	x, weight, err := k.nodes()
	if err != nil {
		return nil, err
	}
	move := make([][]float64, len(x)) // move[i][j]: from node j to the density at node i
	for i := range x {
		move[i] = make([]float64, len(x))
		for j := range x {
			move[i][j] = k.density(x[i], x[j]) * weight[j]
		}
	}
	sticks := func(x float64) float64 {
		if k.sticks == nil {
			return 0
		}
		return k.sticks(x)
	}
	density, next := make([]float64, len(x)), make([]float64, len(x))
	for i := range x {
		density[i] = k.density(x[i], start)
	}
	atLow := sticks(start)
	out := make([]float64, 0, n)
	for t := 1; ; t++ {
		alive := atLow
		for j := range x {
			alive += weight[j] * density[j]
		}
		out = append(out, math.Min(math.Max(alive, 0), 1))
		if t == n {
			return out, nil
		}
		stay := atLow * sticks(k.low)
		for j := range x {
			stay += weight[j] * density[j] * sticks(x[j])
		}
		for i := range x {
			sum := atLow * k.density(x[i], k.low)
			for j, m := range move[i] {
				sum += m * density[j]
			}
			next[i] = sum
		}
		density, next, atLow = next, density, stay
	}
}

// bell is the standard normal density, and below its distribution function.
func bell(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

func below(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
