package curve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Point is one drill: X counts drills from 0 or 1, Y is the measure followed.
type Point struct{ X, Y float64 }

// Curve is a fitted learning curve: y = Plateau - Gap exp(-Rate x), or for the power law
// y = Plateau - Gap x^-Rate. Parameters stand in the units of y (Plateau, Gap) and per unit of x
// (Rate; the power law's has no unit).
type Curve struct {
	Shape                             Shape // Exponential or Power
	Plateau, Gap, Rate                float64
	PlateauError, GapError, RateError float64 // standard errors
	Covariance                        [3][3]float64
	N, DF                             int     // drills; drills less the parameters estimated
	RSS                               float64 // residual sum of squares
	Sigma                             float64 // residual standard deviation, RSS/DF under the root
	Last                              float64 // x of the last drill
}

// Estimate is the curve at one x with its confidence band.
type Estimate struct{ X, Y, Low, High float64 }

// At returns the mean of the curve at each x with the band of the given confidence level (0.95 for
// 95 %; outside 0..1 the band is NaN), by the delta method and Student's t. The band is for the
// curve, not for a single drill, and it widens outside the drills seen: it knows nothing of a
// curve that is not of this family.
func (c *Curve) At(level float64, xs ...float64) []Estimate { return c.band(level, 0, xs) }

// Drill returns the band in which one further drill at each x is expected: that of [Curve.At]
// widened by the scatter of single drills.
func (c *Curve) Drill(level float64, xs ...float64) []Estimate {
	return c.band(level, c.Sigma*c.Sigma, xs)
}

func (c *Curve) band(level, scatter float64, xs []float64) []Estimate {
	t := math.NaN()
	if level > 0 && level < 1 {
		t = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(c.DF)}.Quantile((1 + level) / 2)
	}
	out := make([]Estimate, len(xs))
	for i, x := range xs {
		y, slope := c.value(x)
		half := t * math.Sqrt(quadratic(c.Covariance, slope)+scatter)
		out[i] = Estimate{x, y, y - half, y + half}
	}
	return out
}

// value is the curve and its slopes in the three parameters.
func (c *Curve) value(x float64) (float64, [3]float64) {
	if c.Shape == Power {
		e := math.Pow(x, -c.Rate)
		return c.Plateau - c.Gap*e, [3]float64{1, -e, c.Gap * math.Log(x) * e}
	}
	e := math.Exp(-c.Rate * x)
	return c.Plateau - c.Gap*e, [3]float64{1, -e, c.Gap * x * e}
}

func quadratic(m [3][3]float64, v [3]float64) float64 {
	sum := 0.0
	for i := range v {
		for j := range v {
			sum += v[i] * m[i][j] * v[j]
		}
	}
	return math.Max(sum, 0)
}

// String gives the parameters with their standard errors.
func (c *Curve) String() string {
	return fmt.Sprintf("plateau %.4g (standard error %.2g), gap at the start %.4g (%.2g), rate %.4g (%.2g), from %d drills",
		c.Plateau, c.PlateauError, c.Gap, c.GapError, c.Rate, c.RateError, c.N)
}
