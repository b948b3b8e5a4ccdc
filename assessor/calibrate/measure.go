package calibrate

import (
	"errors"
	"math"
)

// Measure is a person's ability on the scale, in logits. Standard errors are one over the root of
// the test information there, with the items taken as known.
type Measure struct {
	Score, Most, Answered int // total, the highest possible, and the number of responses
	// Likelihood is the maximum likelihood estimate; nil when the total is the lowest or highest
	// possible, where none exists.
	Likelihood *Estimate
	Warm       Estimate // weighted likelihood (Warm 1989, Psychometrika 54:427-50); exists for every total
	Fit        *Fit     // nil without Likelihood
}

var errPerson = errors.New("a person's ability did not settle: the items' thresholds are too far apart")

// measures estimates every person. A person who answered nothing has a Measure with Answered 0 and
// nothing else.
func (t *table) measures(beta [][]float64) ([]Measure, error) {
	type key struct {
		columns string
		score   int
	}
	seen := map[key]Measure{}
	out := make([]Measure, len(t.x))
	for p, x := range t.x {
		score, most, answered := t.total(p)
		if answered == 0 {
			continue
		}
		k := key{score: score}
		var name []byte
		var columns [][]float64
		for c, v := range x {
			if v != absent {
				name = append(name, byte(c), byte(c>>8))
				columns = append(columns, beta[c])
			}
		}
		k.columns = string(name)
		m, known := seen[k]
		if !known {
			m = Measure{Score: score, Most: most, Answered: answered}
			if err := m.estimate(columns); err != nil {
				return nil, err
			}
			seen[k] = m
		}
		out[p] = m
	}
	return out, nil
}

// estimate fills in both estimates for a total over columns with category parameters beta.
func (m *Measure) estimate(beta [][]float64) error {
	if m.Score > 0 && m.Score < m.Most {
		theta, info, ok := settle(beta, m.Score, false)
		if !ok {
			return errPerson
		}
		m.Likelihood = &Estimate{theta, 1 / math.Sqrt(info)}
	}
	theta, info, ok := settle(beta, m.Score, true)
	if !ok {
		return errPerson
	}
	m.Warm = Estimate{theta, 1 / math.Sqrt(info)}
	return nil
}

// moments adds up the mean, variance and third central moment of the responses at an ability.
func moments(beta [][]float64, theta float64, p []float64) (mean, variance, third float64) {
	for _, b := range beta {
		p = p[:len(b)+1]
		e, _ := probabilities(b, theta, p)
		mean += e
		for h, v := range p {
			d := float64(h) - e
			variance += v * d * d
			third += v * d * d * d
		}
	}
	return mean, variance, third
}

// settle finds the ability at which total - mean (+ third/(2 variance) when warm) is 0, by
// Newton's steps inside an interval that holds it; the left side falls from above 0 to below 0 along
// the scale.
func settle(beta [][]float64, total int, warm bool) (theta, info float64, ok bool) {
	widest, top := 0.0, 0
	for _, b := range beta {
		top = max(top, len(b))
		last := 0.0
		for _, v := range b {
			widest = math.Max(widest, math.Abs(v-last))
			last = v
		}
	}
	p := make([]float64, top+1)
	miss := func(theta float64) (float64, float64) {
		mean, variance, third := moments(beta, theta, p)
		v := float64(total) - mean
		if warm && variance > 0 {
			v += third / (2 * variance)
		}
		return v, variance
	}
	low, high := -widest-25, widest+25
	for range 200 {
		v, variance := miss(theta)
		if math.IsNaN(v) {
			return 0, 0, false
		}
		info = variance
		if v > 0 {
			low = theta
		} else {
			high = theta
		}
		step := v / variance
		if math.Abs(step) < 1e-11*(1+math.Abs(theta)) || high-low < 1e-13*(1+math.Abs(theta)) {
			break
		}
		if next := theta + step; next > low && next < high {
			theta = next
		} else {
			theta = (low + high) / 2
		}
	}
	return theta, info, finite(theta, info) && info > 1e-12
}
