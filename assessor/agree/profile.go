package agree

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds of the search for an end of a profile interval.
const (
	widest       = 1e4  // standard deviation in units of that of the scores
	mostProfiles = 100  // likelihoods maximised for one end
	closeEnough  = 1e-4 // relative, of a standard deviation
)

// profile finds where the restricted likelihood, maximised over the other components, has fallen
// by half the chi-squared quantile. It goes in standard deviations, on which the fall is nearest to
// a parabola.
func (s *Study) profile(k int, level float64) (Range, error) {
	l := s.equations.l
	drop := distuv.ChiSquared{K: 1}.Quantile(level) / 2
	low, err := s.end(k, drop, -1)
	if err != nil {
		return Range{}, err
	}
	high, err := s.end(k, drop, +1)
	if err != nil {
		return Range{}, err
	}
	square := l.scale * l.scale
	return Range{Low: low * low * square, High: high * high * square, Open: high >= widest}, nil
}

// end searches downwards (side -1) or upwards from the estimate, and returns a standard deviation.
func (s *Study) end(k int, drop float64, side float64) (float64, error) {
	e := s.equations
	hold := make([]bool, len(s.variances))
	hold[k] = true
	from := append([]float64(nil), s.variances...)
	tries := 0
	fall := func(sd float64) (float64, error) {
		if tries++; tries > mostProfiles {
			return 0, errNoMaximum
		}
		from[k] = sd * sd
		v, at, err := e.maximise(from, hold, rough)
		if err != nil {
			return 0, err
		}
		from = v
		return s.top - at.value - drop, nil
	}
	here := math.Sqrt(s.variances[k])
	inner, fInner := here, -drop
	outer, fOuter, err := s.bracket(k, here, side, fall)
	if err != nil || fOuter < 0 {
		return outer, err
	}
	// Regula falsi on the root of the fall, which is nearly straight, safe by halving.
	for math.Abs(outer-inner) > closeEnough*math.Max(outer, inner) {
		a, b := math.Sqrt(math.Max(0, fInner+drop)), math.Sqrt(math.Max(0, fOuter+drop))
		t := (math.Sqrt(drop) - a) / (b - a)
		if !(t > 0.02 && t < 0.98) {
			t = math.Min(math.Max(t, 0.02), 0.98)
			if math.IsNaN(t) {
				t = 0.5
			}
		}
		sd := inner + t*(outer-inner)
		f, err := fall(sd)
		if err != nil {
			return 0, err
		}
		if f < 0 {
			inner, fInner = sd, f
		} else {
			outer, fOuter = sd, f
		}
		if math.Abs(f) < 1e-4 {
			return sd, nil
		}
	}
	return (inner + outer) / 2, nil
}

// bracket goes outwards until the fall is passed. A lower end that reaches 0 without it is 0, an
// upper end that reaches the widest is that.
func (s *Study) bracket(k int, here, side float64, fall func(float64) (float64, error)) (float64, float64, error) {
	if side < 0 && k == s.equations.residual {
		// Without a residual there is no likelihood: go down by parts.
		for sd := 0.7 * here; ; sd *= 0.7 {
			if f, err := fall(sd); err != nil || f >= 0 {
				return sd, f, err
			}
		}
	}
	if side < 0 {
		if here == 0 {
			return 0, -1, nil
		}
		f, err := fall(0)
		return 0, f, err
	}
	step := math.Max(0.3*here, 0.05)
	for sd := here + step; ; sd += step {
		if sd > widest {
			return widest, -1, nil
		}
		f, err := fall(sd)
		if err != nil || f >= 0 {
			return sd, f, err
		}
		step *= 2
	}
}
