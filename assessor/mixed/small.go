package mixed

import "math"

// The matrices of one trainee are a few rows wide, and thousands of them are factorised for one
// fit: these loops over flat slices do that without allocating, which a general library cannot.
// Matrices are row-major; a factor is the lower triangle of Cholesky's.

// cholesky factorises the n by n matrix a in place (lower triangle). It returns false when a is
// not positive definite to rounding.
func cholesky(a []float64, n int) bool {
	for i := range n {
		for j := 0; j <= i; j++ {
			sum := a[i*n+j]
			for k := range j {
				sum -= a[i*n+k] * a[j*n+k]
			}
			if i == j {
				if !(sum > 1e-13*math.Abs(a[i*n+i])) || math.IsInf(sum, 0) {
					return false
				}
				a[i*n+i] = math.Sqrt(sum)
			} else {
				a[i*n+j] = sum / a[j*n+j]
			}
		}
	}
	return true
}

// forward solves L x = b in place, for the columns columns of b (n rows).
func forward(l []float64, n int, b []float64, columns int) {
	for i := range n {
		for c := range columns {
			sum := b[i*columns+c]
			for k := range i {
				sum -= l[i*n+k] * b[k*columns+c]
			}
			b[i*columns+c] = sum / l[i*n+i]
		}
	}
}

// backward solves L' x = b in place.
func backward(l []float64, n int, b []float64, columns int) {
	for i := n - 1; i >= 0; i-- {
		for c := range columns {
			sum := b[i*columns+c]
			for k := i + 1; k < n; k++ {
				sum -= l[k*n+i] * b[k*columns+c]
			}
			b[i*columns+c] = sum / l[i*n+i]
		}
	}
}

// inverse of the matrix whose factor is l.
func inverse(l []float64, n int) []float64 {
	out := make([]float64, n*n)
	for i := range n {
		out[i*n+i] = 1
	}
	forward(l, n, out, n)
	backward(l, n, out, n)
	return out
}

// logDet is the logarithm of the determinant of the matrix whose factor is l.
func logDet(l []float64, n int) float64 {
	sum := 0.0
	for i := range n {
		sum += math.Log(l[i*n+i])
	}
	return 2 * sum
}

// square writes a flat n by n matrix as rows.
func square(a []float64, n int) [][]float64 {
	out := make([][]float64, n)
	for i := range out {
		out[i] = append([]float64(nil), a[i*n:(i+1)*n]...)
	}
	return out
}
