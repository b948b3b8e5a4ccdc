package simulate

import (
	"math"

	"zonule/assessor/retain"
)

// Failures is a series of n drills that each fail with a probability that may depend on the drill,
// counted from 0.
func Failures(n int, rate func(drill int) float64, seed uint64) []bool {
	chance := NewChance(seed, "failures")
	out := make([]bool, n)
	for i := range out {
		out[i] = chance.Met(rate(i))
	}
	return out
}

// Cases are operations of different predicted risk, whose true odds are Odds times the predicted.
type Cases struct {
	N    int
	Risk Spread // of the log odds of the predicted risk
	Odds float64
}

// Draw makes the cases: predicted risks and outcomes, true for a failure.
func (c Cases) Draw(seed uint64) (risks []float64, failures []bool) {
	chance := NewChance(seed, "cases")
	for range c.N {
		eta := c.Risk.Draw(chance)
		risks = append(risks, logistic(eta))
		failures = append(failures, chance.Met(logistic(eta+math.Log(c.Odds))))
	}
	return risks, failures
}

func logistic(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }

// Forgetting describes trainees who keep a competency over a gap of d days with log odds
// Intercept - Decay ln(1+d).
type Forgetting struct {
	Trainees, Drills int
	Intercept, Decay float64
	LongestGap       float64 // days; gaps are spread evenly in their logarithm from 1 to this
}

// Draw makes the trainees.
func (f Forgetting) Draw(seed uint64) []retain.Trainee {
	chance := NewChance(seed, "forgetting")
	out := make([]retain.Trainee, f.Trainees)
	for i := range out {
		out[i].Name = name("T", i)
		day, kept := 0.0, true
		for d := range f.Drills {
			if d > 0 {
				gap := math.Floor(math.Exp(math.Log(f.LongestGap+1) * chance.Uniform()))
				day += gap
				kept = chance.Met(logistic(f.Intercept - f.Decay*math.Log1p(gap)))
			}
			out[i].Drills = append(out[i].Drills, retain.Drill{Day: day, Met: kept})
		}
	}
	return out
}

// Station is a circuit's station: trainees' scores rise with the examiner's global grade, 1 to 5.
type Station struct {
	Trainees         int
	Intercept, Slope float64
	Scatter          float64
}

// Draw makes grades and scores.
func (s Station) Draw(seed uint64) (grades, scores []float64) {
	chance := NewChance(seed, "station")
	for range s.Trainees {
		g := math.Max(1, math.Min(5, math.Round(3.2+1.1*chance.Normal())))
		grades, scores = append(grades, g), append(scores, s.Intercept+s.Slope*g+s.Scatter*chance.Normal())
	}
	return grades, scores
}
