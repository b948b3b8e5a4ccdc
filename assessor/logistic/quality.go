package logistic

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Discrimination is the c statistic of predicted probabilities: the chance that a case that was
// met had the higher prediction than one that was not, ties counting half (Mann and Whitney). It
// is an error unless there are both kinds, as many predictions as outcomes, and no NaN.
func Discrimination(predicted []float64, met []bool) (float64, error) {
	if err := checkPredicted(predicted, met); err != nil {
		return 0, err
	}
	order := make([]int, len(met))
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(a, b int) bool { return predicted[order[a]] < predicted[order[b]] })
	ranks, n1 := 0.0, 0.0
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && predicted[order[j]] == predicted[order[i]] {
			j++
		}
		mid := float64(i+j+1) / 2
		for _, k := range order[i:j] {
			if met[k] {
				ranks += mid
				n1++
			}
		}
		i = j
	}
	n0 := float64(len(met)) - n1
	if n0 == 0 || n1 == 0 {
		return 0, errors.New("discrimination needs cases that were met and cases that were missed")
	}
	return (ranks - n1*(n1+1)/2) / (n0 * n1), nil
}

// Brier is the mean squared difference of prediction and outcome (Brier 1950): 0 is perfect, and
// the share times one less the share is what knowing the share alone gives. Errors as
// [Discrimination], one kind being enough.
func Brier(predicted []float64, met []bool) (float64, error) {
	if err := checkPredicted(predicted, met); err != nil {
		return 0, err
	}
	sum := 0.0
	for i, p := range predicted {
		d := p
		if met[i] {
			d = 1 - p
		}
		sum += d * d
	}
	return sum / float64(len(met)), nil
}

func checkPredicted(predicted []float64, met []bool) error {
	if len(predicted) != len(met) || len(met) == 0 {
		return fmt.Errorf("%d predictions for %d outcomes: give one for each, at least one", len(predicted), len(met))
	}
	for i, p := range predicted {
		if !(p >= 0 && p <= 1) {
			return fmt.Errorf("prediction %d is %g: give a probability, 0 to 1", i+1, p)
		}
	}
	return nil
}

// Calibration is the test of Hosmer and Lemeshow 1980.
type Calibration struct {
	Groups    int
	Statistic float64
	DF        int
	P         float64
}

// HosmerLemeshow compares observed and expected numbers over groups of similar prediction, cut at
// the quantiles (R's type 7) and closed on the right. It is an error with fewer than 3 groups, fewer
// observations than groups, or predictions so tied that fewer than 3 groups remain.
func HosmerLemeshow(predicted []float64, met []bool, groups int) (Calibration, error) {
	if err := checkPredicted(predicted, met); err != nil {
		return Calibration{}, err
	}
	if groups < 3 || len(met) < groups {
		return Calibration{}, fmt.Errorf("calibration needs at least 3 groups and an observation in each: %d observations for %d groups", len(met), groups)
	}
	sorted := append([]float64(nil), predicted...)
	sort.Float64s(sorted)
	var cuts []float64
	for g := 1; g <= groups; g++ {
		at := float64(len(sorted)-1) * float64(g) / float64(groups)
		i := min(int(at), len(sorted)-2)
		cut := sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
		if g == groups {
			cut = sorted[len(sorted)-1]
		}
		if len(cuts) == 0 || cut > cuts[len(cuts)-1] {
			cuts = append(cuts, cut)
		}
	}
	n, observed, expected := make([]float64, len(cuts)), make([]float64, len(cuts)), make([]float64, len(cuts))
	for i, p := range predicted {
		g := min(sort.SearchFloat64s(cuts, p), len(cuts)-1)
		n[g]++
		expected[g] += p
		if met[i] {
			observed[g]++
		}
	}
	c := Calibration{Groups: len(cuts), DF: len(cuts) - 2}
	for g := range cuts {
		if variance := expected[g] * (1 - expected[g]/n[g]); variance > 0 {
			c.Statistic += (observed[g] - expected[g]) * (observed[g] - expected[g]) / variance
		}
	}
	if c.DF < 1 {
		return Calibration{}, errors.New("the predictions are so tied that fewer than 3 groups remain")
	}
	c.P = 1 - distuv.ChiSquared{K: float64(c.DF)}.CDF(c.Statistic)
	return c, nil
}

// Clustered is the covariance of the coefficients when observations of one group (a trainee's own
// drills) may be alike: the sandwich of Liang and Zeger 1986 (Biometrika 73:13-22) with the factor
// G/(G-1) for G groups. It is an error unless there is a group for each observation and at least
// as many groups as coefficients plus one.
func (m *Model) Clustered(groups []string) ([][]float64, error) {
	if len(groups) != m.N {
		return nil, fmt.Errorf("%d groups for %d observations: give one for each", len(groups), m.N)
	}
	p := len(m.Coefficients)
	at := map[string]int{}
	var scores []*mat.VecDense // in order of first appearance, so that sums are the same each time
	for i, row := range m.x {
		g, ok := at[groups[i]]
		if !ok {
			g = len(scores)
			at[groups[i]] = g
			scores = append(scores, mat.NewVecDense(p, nil))
		}
		r := -m.Fitted[i]
		if m.y[i] {
			r++
		}
		scores[g].AddScaledVec(scores[g], r, mat.NewVecDense(p, append([]float64(nil), row...)))
	}
	if more := p + 1 - len(scores); more > 0 {
		return nil, &TooFew{more, "trainees"}
	}
	meat := mat.NewSymDense(p, nil)
	for _, s := range scores {
		meat.SymRankOne(meat, 1, s)
	}
	bread := mat.NewDense(p, p, nil)
	for i, row := range m.Covariance {
		bread.SetRow(i, row)
	}
	var half, whole mat.Dense
	half.Mul(bread, meat)
	whole.Mul(&half, bread)
	factor := float64(len(scores)) / float64(len(scores)-1)
	out := make([][]float64, p)
	for i := range p {
		out[i] = make([]float64, p)
		for j := range p {
			out[i][j] = factor * whole.At(i, j)
		}
	}
	return out, nil
}

// Spread is the standard error of the linear predictor at a row of covariates under a covariance,
// the model's own or [Model.Clustered]; NaN for a row of the wrong length.
func Spread(covariance [][]float64, row []float64) float64 {
	if len(row)+1 != len(covariance) {
		return math.NaN()
	}
	full := append([]float64{1}, row...)
	sum := 0.0
	for i, a := range full {
		for j, b := range full {
			sum += a * covariance[i][j] * b
		}
	}
	return math.Sqrt(math.Max(0, sum))
}
