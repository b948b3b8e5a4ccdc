package agree

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// quantileF is the quantile of F with df1 and df2 degrees of freedom, which need not be whole. The
// library's inverse of the incomplete beta function is good to about 1e-8 absolute, which is
// little where the variable is near 1; Newton steps on the logarithm of F bring it to rounding.
func quantileF(p, df1, df2 float64) float64 {
	f := distuv.F{D1: df1, D2: df2}.Quantile(p)
	if !(f > 0) || math.IsInf(f, 0) {
		f = 1
	}
	lbeta := mathext.Lbeta(df1/2, df2/2)
	for range 60 {
		u := df1 * f / df2
		below := mathext.RegIncBeta(df1/2, df2/2, u/(1+u))
		// d below / d log f
		slope := math.Exp(df1/2*math.Log(u) - (df1+df2)/2*math.Log1p(u) - lbeta)
		step := (p - below) / slope
		if math.IsNaN(step) {
			return f
		}
		step = math.Max(-1, math.Min(1, step))
		f *= math.Exp(step)
		if math.Abs(step) < 1e-13 {
			break
		}
	}
	return f
}

// upperF is the point above which F has the given tail; df2 may be infinite.
func upperF(tail, df1, df2 float64) float64 {
	if math.IsInf(df2, 1) {
		return upperChi(tail, df1) / df1
	}
	return quantileF(1-tail, df1, df2)
}

func upperChi(tail, df float64) float64 { return distuv.ChiSquared{K: df}.Quantile(1 - tail) }
