package eye

import "math"

// band is a symmetric positive definite banded matrix bordered by three more unknowns:
//
//	[A  B] [x]   [f]
//	[B' D] [c] = [g]
//
// Rows hold the b entries before the diagonal and the diagonal itself. factor replaces
// A by its Cholesky factor and keeps A^-1 B and the inverse of the 3 x 3 Schur
// complement, so that each further right-hand side costs one banded solve.
type band struct {
	n, b  int
	a     []float64    // n rows of b+1
	inv   []float64    // 1 / diagonal of the factor
	bord  [3][]float64 // B by columns
	y     [3][]float64 // A^-1 B by columns
	d     [3][3]float64
	schur [3][3]float64 // inverse of D - B' A^-1 B + 1e-9
}

func newBand(n, b int) band {
	m := band{n: n, b: b, a: make([]float64, n*(b+1)), inv: make([]float64, n)}
	for c := range m.bord {
		m.bord[c], m.y[c] = make([]float64, n), make([]float64, n)
	}
	return m
}

// add adds v to entry (i, j) and its mirror image.
func (m *band) add(i, j int, v float64) {
	if j > i {
		i, j = j, i
	}
	m.a[i*(m.b+1)+j-i+m.b] += v
}

// copyFrom takes over the unfactored matrix and border of another of the same shape.
func (m *band) copyFrom(o *band) {
	copy(m.a, o.a)
	for c := range m.bord {
		copy(m.bord[c], o.bord[c])
	}
	m.d = o.d
}

// factor reports false when the matrix is not positive definite.
func (m *band) factor() bool {
	w := m.b + 1
	for i := 0; i < m.n; i++ {
		j0 := max(0, i-m.b)
		row := m.a[i*w : i*w+w]
		for j := j0; j < i; j++ {
			left := row[j0-i+m.b : j-i+m.b]
			above := m.a[j*w+j0-j+m.b : j*w+m.b]
			s := row[j-i+m.b]
			for k, l := range left {
				s -= l * above[k]
			}
			row[j-i+m.b] = s * m.inv[j]
		}
		s := row[m.b]
		for _, l := range row[j0-i+m.b : m.b] {
			s -= l * l
		}
		if !(s > 0) {
			return false
		}
		m.inv[i] = 1 / math.Sqrt(s)
	}
	for c := range m.y {
		copy(m.y[c], m.bord[c])
		m.backSolve(m.y[c])
	}
	var s [3][3]float64
	for r := range s {
		for c := range s {
			s[r][c] = m.d[r][c] - dot(m.bord[r], m.y[c])
		}
		s[r][r] += 1e-9
	}
	m.schur = inverse3(s)
	return true
}

// backSolve replaces x by A^-1 x.
func (m *band) backSolve(x []float64) {
	w := m.b + 1
	for i := 0; i < m.n; i++ {
		j0 := max(0, i-m.b)
		s := x[i]
		for k, l := range m.a[i*w+j0-i+m.b : i*w+m.b] {
			s -= l * x[j0+k]
		}
		x[i] = s * m.inv[i]
	}
	for i := m.n - 1; i >= 0; i-- {
		j0 := max(0, i-m.b)
		s := x[i] * m.inv[i]
		x[i] = s
		for k, l := range m.a[i*w+j0-i+m.b : i*w+m.b] {
			x[j0+k] -= l * s
		}
	}
}

// solve replaces x (the loads f) by the unknowns and returns the three border ones.
func (m *band) solve(x []float64, g [3]float64) (c [3]float64) {
	m.backSolve(x)
	var r [3]float64
	for i := range r {
		r[i] = g[i] - dot(m.bord[i], x)
	}
	for i := range c {
		c[i] = m.schur[i][0]*r[0] + m.schur[i][1]*r[1] + m.schur[i][2]*r[2]
	}
	for k := range x {
		x[k] -= m.y[0][k]*c[0] + m.y[1][k]*c[1] + m.y[2][k]*c[2]
	}
	return c
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

func inverse3(m [3][3]float64) (r [3][3]float64) {
	for i := range 3 {
		for j := range 3 {
			a, b := (j+1)%3, (j+2)%3
			c, d := (i+1)%3, (i+2)%3
			r[i][j] = m[a][c]*m[b][d] - m[a][d]*m[b][c]
		}
	}
	det := m[0][0]*r[0][0] + m[0][1]*r[1][0] + m[0][2]*r[2][0]
	for i := range 3 {
		for j := range 3 {
			r[i][j] /= det
		}
	}
	return r
}
