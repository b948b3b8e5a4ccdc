package agree

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/mathext/prng"
)

// Metric says how far apart two values of a rating are.
type Metric int

const (
	Nominal  Metric = iota // equal or not
	Ordinal                // by the ratings that lie between
	Interval               // by their difference
	Ratio                  // by their difference relative to their sum; values of at least 0
)

// Reliability is Krippendorff's alpha with what it was computed from.
type Reliability struct {
	Alpha    float64 // at most 1; 0 is agreement by chance
	Observed float64 // disagreement seen, in squared distances of the metric
	Expected float64 // disagreement by chance
	Units    int     // units with two or more values: only these count
	Values   int     // values in them
}

// mostRatios bounds the different values under the ratio metric, which compares every pair.
const mostRatios = 5_000

// Alpha computes Krippendorff's alpha (Krippendorff 2004, Content Analysis, 2nd edition, chapter
// 11) from ratings[unit][rater], NaN where a rater did not rate the unit; rows may differ in
// length. Under [Nominal] the values are codes. The raters need not be the same for each unit,
// and are not told apart.
//
// It is an error when all values are alike (nothing shows whether raters would agree on another)
// and when a value is not finite, or below 0 under [Ratio]. Fewer than two units with two values is
// a [NotYet].
func Alpha(ratings [][]float64, metric Metric) (*Reliability, error) {
	units, err := pairable(ratings, metric)
	if err != nil {
		return nil, err
	}
	out, ok := alpha(units, metric)
	if !ok {
		return nil, errors.New("every value is the same: nothing shows whether the raters would agree on another")
	}
	return out, nil
}

// AlphaInterval is the percentile bootstrap interval of [Alpha] over units, at the two-sided level:
// resamples (at least 200) draws of as many units, with replacement, from the seed. The units are
// taken to be a random sample; the raters are taken as they are. Beyond the errors of [Alpha], it
// is an error when more than one resample in ten has no variation.
func AlphaInterval(ratings [][]float64, metric Metric, level float64, resamples int, seed uint64) (low, high float64, err error) {
	if err := checkLevel(level); err != nil {
		return 0, 0, err
	}
	if resamples < 200 || resamples > 1_000_000 {
		return 0, 0, fmt.Errorf("%d resamples: take at least 200 and at most a million", resamples)
	}
	units, err := pairable(ratings, metric)
	if err != nil {
		return 0, 0, err
	}
	if _, ok := alpha(units, metric); !ok {
		return 0, 0, errors.New("every value is the same: nothing shows whether the raters would agree on another")
	}
	source := prng.NewSplitMix64(seed)
	drawn := make([][]float64, len(units))
	var seen []float64
	for range resamples {
		for i := range drawn {
			drawn[i] = units[source.Uint64()%uint64(len(units))]
		}
		if r, ok := alpha(drawn, metric); ok {
			seen = append(seen, r.Alpha)
		}
	}
	if len(seen) < resamples*9/10 {
		return 0, 0, errors.New("not enough yet: too few units differ for an interval of alpha; rate more of them")
	}
	slices.Sort(seen)
	at := func(p float64) float64 {
		x := p * float64(len(seen)-1)
		i := min(int(x), len(seen)-2)
		return seen[i] + (x-float64(i))*(seen[i+1]-seen[i])
	}
	return at((1 - level) / 2), at((1 + level) / 2), nil
}

// pairable keeps the values of the units that have two or more.
func pairable(ratings [][]float64, metric Metric) ([][]float64, error) {
	if metric < Nominal || metric > Ratio {
		return nil, fmt.Errorf("metric %d is unknown: give Nominal, Ordinal, Interval or Ratio", int(metric))
	}
	var units [][]float64
	different := map[float64]bool{}
	for u, row := range ratings {
		var values []float64
		for r, v := range row {
			if err := checkScore(v, true, fmt.Sprintf("unit %d, rater %d", u+1, r+1)); err != nil {
				return nil, err
			}
			if metric == Ratio && v < 0 {
				return nil, fmt.Errorf("unit %d has the value %g: a ratio needs values of at least 0", u+1, v)
			}
			if !math.IsNaN(v) {
				values = append(values, v)
			}
		}
		if len(values) < 2 {
			continue
		}
		units = append(units, values)
		for _, v := range values {
			different[v] = true
		}
	}
	if metric == Ratio && len(different) > mostRatios {
		return nil, fmt.Errorf("%d different values are too many for the ratio metric: at most %d; round them", len(different), mostRatios)
	}
	return units, atLeast(2, len(units), "units", "alpha needs units with two or more ratings")
}

func alpha(units [][]float64, metric Metric) (*Reliability, bool) {
	out := &Reliability{Units: len(units)}
	counts := map[float64]float64{}
	for _, values := range units {
		out.Values += len(values)
		for _, v := range values {
			counts[v]++
		}
	}
	different := make([]float64, 0, len(counts))
	for v := range counts {
		different = append(different, v)
	}
	sort.Float64s(different)
	place := placing(different, counts, metric)
	n := float64(out.Values)
	for _, values := range units {
		out.Observed += disagreement(values, place, metric) / float64(len(values)-1)
	}
	out.Observed /= n
	out.Expected = byChance(different, counts, place, metric) / (n * (n - 1))
	if !(out.Expected > 0) || !finite(out.Observed, out.Expected) {
		return nil, false
	}
	out.Alpha = 1 - out.Observed/out.Expected
	return out, finite(out.Alpha)
}

// placing puts each value on the scale on which distances are differences: ordinal distances are
// differences of mean ranks. The scale is centred and brought to size 1, which leaves alpha as it is.
func placing(different []float64, counts map[float64]float64, metric Metric) map[float64]float64 {
	place := make(map[float64]float64, len(different))
	rank, largest := 0.0, 0.0
	for _, v := range different {
		place[v] = v
		if metric == Ordinal {
			place[v] = rank + counts[v]/2
			rank += counts[v]
		}
		largest = math.Max(largest, math.Abs(place[v]))
	}
	if metric == Interval || metric == Ordinal {
		middle := place[different[len(different)/2]]
		for v, x := range place {
			place[v] = x/largest - middle/largest
		}
	}
	return place
}

// disagreement is the sum of squared distances over the ordered pairs of values of one unit.
func disagreement(values []float64, place map[float64]float64, metric Metric) float64 {
	sum := 0.0
	for i, a := range values {
		for _, b := range values[:i] {
			sum += 2 * squared(place[a], place[b], metric)
		}
	}
	return sum
}

// byChance is the same over the ordered pairs of all values.
func byChance(different []float64, counts map[float64]float64, place map[float64]float64, metric Metric) float64 {
	var n, sum, squares float64
	switch metric {
	case Nominal:
		for _, v := range different {
			n += counts[v]
			squares += counts[v] * counts[v]
		}
		return n*n - squares
	case Ratio:
		for i, a := range different {
			for _, b := range different[:i] {
				sum += 2 * counts[a] * counts[b] * squared(a, b, metric)
			}
		}
		return sum
	}
	for _, v := range different {
		n += counts[v]
		sum += counts[v] * place[v]
	}
	mean := sum / n
	for _, v := range different {
		d := place[v] - mean
		squares += counts[v] * d * d
	}
	return 2 * n * squares
}

func squared(a, b float64, metric Metric) float64 {
	switch {
	case a == b:
		return 0
	case metric == Nominal:
		return 1
	case metric == Ratio:
		d := (a - b) / (a + b)
		return d * d
	}
	return (a - b) * (a - b)
}
