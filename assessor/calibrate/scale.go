package calibrate

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Item is one calibrated item.
type Item struct {
	// Thresholds[k] is the ability at which categories k and k+1 are equally likely, in logits; for
	// an item scored 0 or 1 there is one, its difficulty.
	Thresholds []Estimate
	Location   Estimate // mean of the thresholds
	Fit        *Fit     // nil when no person with an ability by maximum likelihood answered it
}

// Scale is a set of items on one scale, with the persons who met them. The origin is where the mean
// of all thresholds is 0, unless moved by [Scale.From].
type Scale struct {
	Model         string
	Items         []Item
	Steps         []Estimate // the thresholds common to all items, mean 0; rating scale only
	Persons       []Measure  // in the order of the responses
	LogLikelihood float64    // conditional on the totals
	Informative   int        // persons whose total is neither lowest nor highest: the items rest on these

	table      *table
	thresholds []float64     // of all items, one after another
	covariance *mat.SymDense // of these, at this origin
}

// calibrate estimates the free parameters and makes the scale: thresholds are differences of
// adjacent category parameters.
func (t *table) calibrate(model string, free int, row func(column, h int) []weight, start []float64) (*Scale, error) {
	c := newConditional(t, free, row)
	if c.betas > mostSteps {
		return nil, fmt.Errorf("%d thresholds are too many to calibrate at once: at most %d", c.betas, mostSteps)
	}
	if start == nil {
		start = make([]float64, free)
	}
	found, at, covariance, err := c.maximise(start)
	if err != nil {
		return nil, t.explain(err)
	}
	_, persons := t.counts()
	s := &Scale{Model: model, LogLikelihood: at.value, Informative: persons, table: t}
	beta := c.beta(found)
	half := mat.NewDense(c.betas, free, nil) // thresholds by free parameters
	for i, top := range t.top {
		for h := range top {
			b := c.first[i] + h
			v := beta[b]
			for _, w := range c.rows[b] {
				half.Set(b, w.free, half.At(b, w.free)+w.by)
			}
			if h > 0 {
				v -= beta[b-1]
				for _, w := range c.rows[b-1] {
					half.Set(b, w.free, half.At(b, w.free)-w.by)
				}
			}
			s.thresholds = append(s.thresholds, v)
		}
	}
	s.covariance = sandwich(half, covariance)
	even := make([]float64, c.betas)
	for k := range even {
		even[k] = 1 / float64(c.betas)
	}
	return s.from(even)
}

// explain adds to a failure of the search what the responses look like.
func (t *table) explain(err error) error {
	if errors.Is(err, errFar) {
		return fmt.Errorf("%w (persons with high totals and low totals use categories or items that do not overlap); wait for more persons, leave out what nearly all answer alike, or merge categories", err)
	}
	return err
}

// sandwich is A V A'.
func sandwich(a *mat.Dense, v *mat.SymDense) *mat.SymDense {
	var half, whole mat.Dense
	half.Mul(a, v)
	whole.Mul(&half, a.T())
	n, _ := a.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, (whole.At(i, j)+whole.At(j, i))/2)
		}
	}
	return out
}

// From moves the origin: weights[item][threshold], which sum to 1, give the weighted mean of the
// thresholds that becomes 0. Weights on the items that two calibrations share put both on one
// scale. Distances, and the differences between persons and thresholds, stay as they are; standard
// errors of thresholds become those relative to the new origin. It is an error when the weights do
// not fit the items or do not sum to 1.
func (s *Scale) From(weights [][]float64) (*Scale, error) {
	if len(weights) != len(s.Items) {
		return nil, fmt.Errorf("weights for %d items do not fit a scale of %d", len(weights), len(s.Items))
	}
	var flat []float64
	sum := 0.0
	for i, row := range weights {
		if len(row) != len(s.Items[i].Thresholds) {
			return nil, fmt.Errorf("item %d has %d thresholds, not %d", i+1, len(s.Items[i].Thresholds), len(row))
		}
		for _, v := range row {
			sum += v
		}
		flat = append(flat, row...)
	}
	if !(math.Abs(sum-1) < 1e-9) {
		return nil, fmt.Errorf("the weights of the origin sum to %g: let them sum to 1", sum)
	}
	out := *s
	return out.from(flat)
}

// from fills in the scale with its origin at the weighted mean of the thresholds.
func (s *Scale) from(weights []float64) (*Scale, error) {
	n := len(weights)
	move := mat.NewDense(n, n, nil)
	shift := 0.0
	for a := range n {
		shift += weights[a] * s.thresholds[a]
		for b := range n {
			v := -weights[b]
			if a == b {
				v++
			}
			move.Set(a, b, v)
		}
	}
	moved := make([]float64, n)
	for k, v := range s.thresholds {
		moved[k] = v - shift
	}
	s.thresholds, s.covariance = moved, sandwich(move, s.covariance)
	s.Items = nil
	at := 0
	for _, top := range s.table.top {
		item := Item{Thresholds: make([]Estimate, top)}
		variance := 0.0
		for h := range top {
			item.Thresholds[h] = Estimate{moved[at+h], math.Sqrt(math.Max(0, s.covariance.At(at+h, at+h)))}
			item.Location.Value += moved[at+h] / float64(top)
			for k := range top {
				variance += s.covariance.At(at+h, at+k) / float64(top*top)
			}
		}
		item.Location.Error = math.Sqrt(math.Max(0, variance))
		s.Items = append(s.Items, item)
		at += top
	}
	if err := s.persons(); err != nil {
		return nil, err
	}
	return s, nil
}

// persons measures the persons on the scale and the fit of items.
func (s *Scale) persons() error {
	beta := cumulated(s.table.top, s.thresholds)
	var err error
	if s.Persons, err = s.table.measures(beta); err != nil {
		return err
	}
	fits := newFits(len(s.Items), len(s.Persons))
	fits.fill(s.table, beta, s.Persons, func(c int) int { return c })
	for i := range s.Items {
		s.Items[i].Fit = fits.of(i)
	}
	for p := range s.Persons {
		s.Persons[p].Fit = fits.ofPerson(p)
	}
	return nil
}

// steps fills in the common thresholds of a rating scale: those of item 1 about their mean, which
// are those of every item.
func (s *Scale) steps(top int) {
	a := mat.NewDense(top, len(s.thresholds), nil)
	mean := 0.0
	for k := range top {
		mean += s.thresholds[k] / float64(top)
		for j := range top {
			a.Set(k, j, -1/float64(top))
		}
		a.Set(k, k, 1-1/float64(top))
	}
	v := sandwich(a, s.covariance)
	for k := range top {
		s.Steps = append(s.Steps, Estimate{s.thresholds[k] - mean, math.Sqrt(math.Max(0, v.At(k, k)))})
	}
}

// cumulated turns thresholds into category parameters, by column.
func cumulated(top []int, thresholds []float64) [][]float64 {
	out := make([][]float64, len(top))
	at := 0
	for c, n := range top {
		out[c] = make([]float64, n)
		sum := 0.0
		for h := range n {
			sum += thresholds[at+h]
			out[c][h] = sum
		}
		at += n
	}
	return out
}
