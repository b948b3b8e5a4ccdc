package curve

import (
	"math"
	"testing"
)

// The reference's models with analytic derivatives.
var nistModels = map[string]family{
	"nist_Misra1a.json": rise,
	"nist_BoxBOD.json":  rise,
	"nist_Chwirut2.json": {3, func(b []float64, x float64, d []float64) float64 {
		e, q := math.Exp(-b[0]*x), b[1]+b[2]*x
		d[0], d[1], d[2] = -x*e/q, -e/q/q, -x*e/q/q
		return e / q
	}},
	"nist_DanWood.json": {2, func(b []float64, x float64, d []float64) float64 {
		e := math.Pow(x, b[1])
		d[0], d[1] = e, b[0]*e*math.Log(x)
		return b[0] * e
	}},
	"nist_Rat43.json": {4, func(b []float64, x float64, d []float64) float64 {
		e := math.Exp(b[1] - b[2]*x)
		g := math.Pow(1+e, -1/b[3])
		d[0] = g
		d[1] = -b[0] * g / b[3] * e / (1 + e)
		d[2] = -x * d[1]
		d[3] = b[0] * g * math.Log1p(e) / b[3] / b[3]
		return b[0] * g
	}},
	"nist_MGH17.json": {5, func(b []float64, x float64, d []float64) float64 {
		e, f := math.Exp(-b[3]*x), math.Exp(-b[4]*x)
		d[0], d[1], d[2], d[3], d[4] = 1, e, f, -b[1]*x*e, -b[2]*x*f
		return b[0] + b[1]*e + b[2]*f
	}},
}

// All six certified sets. From start 2: parameters, standard errors and sums of squares to eight
// digits or more (the certificates print eleven). From start 1: the same, or a plain failure.
func TestCertifiedValues(t *testing.T) {
	for name, model := range nistModels {
		var ref nist
		read(t, name, &ref)
		want := ref.Expected
		compare := func(s solution) (digits float64) {
			digits = 99
			df := float64(len(ref.Inputs.X) - model.p)
			see := func(got, want float64) { digits = math.Min(digits, -math.Log10(math.Abs(got/want-1)+1e-16)) }
			for j := range want.Parameters {
				see(s.par[j], want.Parameters[j])
				see(math.Sqrt(s.cov.At(j, j)*s.rss/df), want.Errors[j])
			}
			see(s.rss, want.RSS)
			see(math.Sqrt(s.rss/df), want.SD)
			return digits
		}
		s, err := model.solve(ref.Inputs.X, ref.Inputs.Y, ref.Inputs.Start2)
		if err != nil {
			t.Fatalf("%s from start 2: %v", name, err)
		}
		two := compare(s)
		if two < 8 {
			t.Errorf("%s from start 2: %.1f digits", name, two)
		}
		s, err = model.solve(ref.Inputs.X, ref.Inputs.Y, ref.Inputs.Start1)
		if err != nil {
			t.Logf("%s: %.1f digits from start 2; from start 1: %v", name, two, err)
			continue
		}
		one := compare(s)
		if one < 8 {
			t.Errorf("%s from start 1: %.1f digits and no word of failure", name, one)
		}
		t.Logf("%s: %.1f digits from start 2, %.1f from start 1", name, two, one)
	}
}

// Slopes are those of the curve: compared with central differences.
func TestSlopes(t *testing.T) {
	for name, c := range map[string]struct {
		f   family
		par []float64
	}{
		"plateau": {plateau, []float64{80, 40, .1}}, "rise": {rise, []float64{80, .1}}, "power": {power, []float64{80, 40, .4}},
		"sigmoid": {sigmoid, []float64{80, 10, 3}}, "cohort": {approachLog, []float64{80, 40, -2}},
		"held": {plateau.without(1, 40), []float64{80, .1}},
	} {
		slope, scratch := make([]float64, c.f.p), make([]float64, c.f.p)
		for _, x := range []float64{.5, 1, 7, 30} {
			c.f.value(c.par, x, slope)
			for j := range c.par {
				h := 1e-6 * (1 + math.Abs(c.par[j]))
				up, down := append([]float64(nil), c.par...), append([]float64(nil), c.par...)
				up[j] += h
				down[j] -= h
				want := (c.f.value(up, x, scratch) - c.f.value(down, x, scratch)) / (2 * h)
				if math.Abs(slope[j]-want) > 1e-6*(1+math.Abs(want)) {
					t.Errorf("%s at %g: slope %d is %g, differences give %g", name, x, j, slope[j], want)
				}
			}
		}
	}
}
