package simulate

import (
	"math"

	"zonule/assessor/curve"
)

// Curves describe trainees whose measure follows y = A + (S - A) exp(-k x), x = 0, 1, 2 ...
type Curves struct {
	Trainees     int
	Fewest, Most int // drills of each, drawn evenly between
	Plateau      Spread
	Start        Spread
	LogRate      Spread
	Scatter      float64 // standard deviation of a single drill
}

// Learner is the truth of one trainee.
type Learner struct{ Plateau, Start, LogRate float64 }

// At is the learner's mean at x.
func (l Learner) At(x float64) float64 {
	return l.Plateau + (l.Start-l.Plateau)*math.Exp(-math.Exp(l.LogRate)*x)
}

// Reaches is the first whole drill, from 1, at which the mean meets a standard from below; 0 when it
// never does.
func (l Learner) Reaches(standard float64) int {
	if l.Plateau <= standard {
		return 0
	}
	if l.Start >= standard {
		return 1
	}
	x := math.Log((l.Plateau-l.Start)/(l.Plateau-standard)) / math.Exp(l.LogRate)
	return max(1, int(math.Ceil(x)))
}

// TypicalCurves are trainees as the tests use them: a score out of 100 that starts at 40 and nears
// 85, half of the way in seven drills. Invented.
func TypicalCurves(trainees, fewest, most int) Curves {
	return Curves{Trainees: trainees, Fewest: fewest, Most: most, Plateau: Spread{85, 4}, Start: Spread{40, 6}, LogRate: Spread{math.Log(.1), .3}, Scatter: 4}
}

// Draw makes the trainees.
func (c Curves) Draw(seed uint64) ([]curve.Trainee, []Learner) {
	chance := NewChance(seed, "curves")
	trainees, truth := make([]curve.Trainee, c.Trainees), make([]Learner, c.Trainees)
	for i := range trainees {
		truth[i] = Learner{c.Plateau.Draw(chance), c.Start.Draw(chance), c.LogRate.Draw(chance)}
		trainees[i].Name = name("T", i)
		for x := range c.Fewest + chance.Below(c.Most-c.Fewest+1) {
			trainees[i].Points = append(trainees[i].Points, curve.Point{X: float64(x), Y: truth[i].At(float64(x)) + c.Scatter*chance.Normal()})
		}
	}
	return trainees, truth
}
