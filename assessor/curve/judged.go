package curve

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// known is how many standard errors gap and rate must stand above zero.
	known = 2
	// trendLevel is the level of the test against a constant. It is strict because the rate is
	// chosen freely, which makes the ordinary F test too easily impressed (fit_test.go measures
	// how often level scores are taken for a curve).
	trendLevel = 0.99
	// farthest is how many further drills are looked ahead.
	farthest = 500
)

// judged scales the covariance, fills in the standard errors, and gives the curve if it is known
// well enough, else a *NotYet.
func (c *Curve) judged(x, y []float64) (*Curve, error) {
	c.Sigma = math.Sqrt(c.RSS / float64(c.DF))
	for i := range 3 {
		for j := range 3 {
			c.Covariance[i][j] *= c.Sigma * c.Sigma
		}
	}
	c.PlateauError = math.Sqrt(c.Covariance[0][0])
	c.GapError = math.Sqrt(c.Covariance[1][1])
	c.RateError = math.Sqrt(c.Covariance[2][2])
	for _, v := range []float64{c.Plateau, c.Gap, c.Rate, c.PlateauError, c.GapError, c.RateError} {
		if !finite(v) {
			return nil, unsettled(c.N, errFlat)
		}
	}
	if c.Rate <= 0 {
		return nil, &NotYet{again(c.N), "the drills have not begun to level off, so no plateau is in sight"}
	}
	if !c.trend(y) {
		return nil, &NotYet{again(c.N), "the drills scatter more than they rise, so chance alone could show this trend"}
	}
	if !wellKnown(c.Covariance, c.Gap, c.Rate) {
		return nil, &NotYet{c.ahead(x), "the plateau and the rate are not known well enough to name them"}
	}
	return c, nil
}

// trend is the F test of the curve against a constant.
func (c *Curve) trend(y []float64) bool {
	mean, total := 0.0, 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for _, v := range y {
		total += (v - mean) * (v - mean)
	}
	if c.RSS <= 1e-20*total {
		return true
	}
	extra := float64(c.N - 1 - c.DF)
	if extra < 1 {
		extra = 1
	}
	f := (total - c.RSS) / extra / (c.RSS / float64(c.DF))
	return f > distuv.F{D1: extra, D2: float64(c.DF)}.Quantile(trendLevel)
}

func wellKnown(cov [3][3]float64, gap, rate float64) bool {
	gap = math.Abs(gap)
	return known*math.Sqrt(cov[1][1]) <= gap && known*math.Sqrt(cov[2][2]) <= rate && known*math.Sqrt(cov[0][0]) <= gap
}

// ahead computes how many further drills, spaced as those so far, would make the curve well known
// if it is what it now seems and the scatter stays: the expected covariance shrinks with the
// information each adds. When even many would not do, it says to ask again later.
func (c *Curve) ahead(x []float64) int {
	free := 3
	if c.DF == c.N-2 {
		free = 2
	}
	info := mat.NewSymDense(free, nil)
	add := func(at float64) {
		_, g := c.value(at)
		v := g[:]
		if free == 2 {
			v = []float64{g[0] + g[1], g[2]}
		}
		info.SymRankOne(info, 1, mat.NewVecDense(free, v))
	}
	for _, at := range x {
		add(at)
	}
	spacing := (x[len(x)-1] - x[0]) / float64(len(x)-1)
	for more := 1; more <= farthest; more++ {
		add(x[len(x)-1] + float64(more)*spacing)
		if cov, ok := c.expected(info); ok && wellKnown(cov, c.Gap, c.Rate) {
			return more
		}
	}
	return again(c.N)
}

func (c *Curve) expected(info *mat.SymDense) (cov [3][3]float64, ok bool) {
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return cov, false
	}
	var inverse mat.SymDense
	if chol.InverseTo(&inverse) != nil {
		return cov, false
	}
	from := [3]int{0, 1, 2}
	if info.SymmetricDim() == 2 {
		from = [3]int{0, 0, 1}
	}
	for i := range 3 {
		for j := range 3 {
			cov[i][j] = inverse.At(from[i], from[j]) * c.Sigma * c.Sigma
		}
	}
	return cov, true
}
