package curve

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Forecast is how many drills a curve needs to meet a standard, and how far that is known. Numbers
// of drills are x as the curve counts it, rounded up to whole drills.
type Forecast struct {
	Standard   float64
	Confidence float64
	Rising     bool // the standard is met from below; else from above, as a time is
	Last       int  // the last drill seen
	// Reached says that the curve meets the standard within Horizon; At is then the drill at which
	// it does. Otherwise At is 0: the standard lies beyond what the curve reaches.
	Reached bool
	At      int
	// Low is the earliest drill at which the curve may meet the standard, High the latest, at
	// Confidence. LowKnown and HighKnown say whether there is such a drill within Horizon: when
	// HighKnown is false the curve may, on present evidence, never meet the standard.
	Low, High           int
	LowKnown, HighKnown bool
	Horizon             int // drills looked ahead to
	// Own is the share of the forecast that rests on the trainee's own drills, 0..1; 1 for a curve
	// fitted to the trainee alone.
	Own float64
}

// More is how many further drills are needed: 0 when the standard is met already.
func (f Forecast) More() int { return max(0, f.At-f.Last) }

// String says the forecast in a sentence.
func (f Forecast) String() string {
	s := fmt.Sprintf("the standard %.4g is not in sight within %d drills", f.Standard, f.Horizon)
	if f.Reached {
		switch {
		case f.More() == 0:
			s = fmt.Sprintf("the standard %.4g was met by drill %d on the curve's mean", f.Standard, f.At)
		default:
			s = fmt.Sprintf("the standard %.4g needs %d more drills on the curve's mean", f.Standard, f.More())
		}
	}
	switch {
	case f.LowKnown && f.HighKnown:
		s += fmt.Sprintf(" (drill %d to %d, %.0f %% sure)", f.Low, f.High, 100*f.Confidence)
	case f.LowKnown:
		s += fmt.Sprintf(" (drill %d at the earliest; it may never be met, %.0f %% sure)", f.Low, 100*f.Confidence)
	}
	if f.Own < 1 {
		s += fmt.Sprintf("; own drills make up %.0f %% of this, the rest is the cohort's", 100*f.Own)
	}
	return s
}

// ahead is how far beyond the last drill a forecast looks.
const aheadDrills = 500

// Needed forecasts when the mean of the curve meets a standard, at a confidence level (0.95 for
// 95 %): the standard is met from below when the curve rises, from above when it falls. The
// interval holds every drill at which the curve's band ([Curve.At]) contains the standard, so it
// is open where the band never leaves it. It is an error for a standard that is not finite or a
// level outside 0..1.
func (c *Curve) Needed(standard, level float64) (Forecast, error) {
	if err := checkLevel(level); err != nil {
		return Forecast{}, err
	}
	if !finite(standard) {
		return Forecast{}, fmt.Errorf("the standard %g is not a finite number", standard)
	}
	t := distuv.StudentsT{Sigma: 1, Nu: float64(c.DF)}.Quantile((1 + level) / 2)
	f := forecast(standard, c.Gap > 0, c.Last, func(x float64) (float64, float64) {
		y, slope := c.value(x)
		return y, t * math.Sqrt(quadratic(c.Covariance, slope))
	})
	f.Confidence, f.Own = level, 1
	return f, nil
}

// forecast walks along a curve's mean and half width from drill 1.
func forecast(standard float64, rising bool, last float64, at func(x float64) (mean, half float64)) Forecast {
	f := Forecast{Standard: standard, Rising: rising, Last: int(math.Ceil(last))}
	f.Horizon = f.Last + aheadDrills
	sign := 1.0
	if !rising {
		sign = -1
	}
	for x := 1; x <= f.Horizon; x++ {
		mean, half := at(float64(x))
		if !finite(mean) || !finite(half) {
			break
		}
		over := sign * (mean - standard)
		if !f.Reached && over >= 0 {
			f.Reached, f.At = true, x
		}
		if !f.LowKnown && over+half >= 0 {
			f.LowKnown, f.Low = true, x
		}
		if over-half >= 0 {
			if !f.HighKnown {
				f.HighKnown, f.High = true, x
			}
		} else {
			f.HighKnown, f.High = false, 0 // the band opened again
		}
	}
	return f
}
