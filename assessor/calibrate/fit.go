package calibrate

import "math"

// Fit compares responses with what the model expects at the abilities by maximum likelihood.
// Mean squares are 1 when they scatter as expected, above 1 when they scatter more (noise, a
// misread item, a careless rater) and below 1 when less. The standardised values are about normal
// when the model holds and responses are many (Wright and Masters 1982, Rating Scale Analysis,
// chapter 5, with the cube-root transform). They are a reason to look, not a verdict.
type Fit struct {
	Responses                     int
	Infit, Outfit                 float64 // mean squares, weighted by information and unweighted
	InfitStandard, OutfitStandard float64 // standardised
}

// tally adds up squared residuals.
type tally struct {
	n                                        int
	outfit, outfitSpread                     float64
	residual, information, informationSpread float64
}

func (t *tally) add(residual, variance, fourth float64) {
	t.n++
	t.outfit += residual * residual / variance
	t.outfitSpread += fourth / (variance * variance)
	t.residual += residual * residual
	t.information += variance
	t.informationSpread += fourth - variance*variance
}

func (t *tally) fit() *Fit {
	if t.n == 0 || !(t.information > 0) {
		return nil
	}
	n := float64(t.n)
	f := &Fit{Responses: t.n, Infit: t.residual / t.information, Outfit: t.outfit / n}
	f.OutfitStandard = standardised(f.Outfit, t.outfitSpread/(n*n)-1/n)
	f.InfitStandard = standardised(f.Infit, t.informationSpread/(t.information*t.information))
	if !finite(f.Infit, f.Outfit, f.InfitStandard, f.OutfitStandard) {
		return nil
	}
	return f
}

// standardised is the cube-root transform of a mean square with the given variance.
func standardised(square, variance float64) float64 {
	q := math.Sqrt(math.Max(variance, 1e-12))
	return (math.Cbrt(square)-1)*3/q + q/3
}

// fits holds a tally for each of some groups of columns, and for each person.
type fits struct{ groups, persons []tally }

func newFits(groups, persons int) *fits {
	return &fits{make([]tally, groups), make([]tally, persons)}
}

// fill adds every response of the persons with a maximum likelihood ability; group says to which
// group a column belongs.
func (f *fits) fill(t *table, beta [][]float64, persons []Measure, groups ...func(column int) int) {
	var p []float64
	for n, x := range t.x {
		if persons[n].Likelihood == nil {
			continue
		}
		for c, v := range x {
			if v == absent {
				continue
			}
			p = sized(p, len(beta[c])+1)
			mean, _ := probabilities(beta[c], persons[n].Likelihood.Value, p)
			var variance, fourth float64
			for h, q := range p {
				d := float64(h) - mean
				variance += q * d * d
				fourth += q * d * d * d * d
			}
			if !(variance > 1e-12) {
				continue
			}
			for _, group := range groups {
				f.groups[group(c)].add(float64(v)-mean, variance, fourth)
			}
			f.persons[n].add(float64(v)-mean, variance, fourth)
		}
	}
}

func (f *fits) of(group int) *Fit { return f.groups[group].fit() }

func (f *fits) ofPerson(p int) *Fit { return f.persons[p].fit() }
