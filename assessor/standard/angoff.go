package standard

import (
	"fmt"
	"math"
	"sort"
)

// AngoffCut is a cut score by Angoff's method.
type AngoffCut struct {
	Judges, Items int
	Cut           float64   // total: the mean over judges of the sum of their items
	Proportion    float64   // Cut over the number of items
	Totals        []float64 // each judge's sum
	Spread        float64   // standard deviation of the totals
	// FixedError is the standard error of Cut over other judges and these items; Interval is the t
	// interval it gives.
	FixedError float64
	Interval   Interval
	ItemMeans  []float64
	ItemSpread []float64
	// Judge, Item and Residual are the variance components of a judge by item design, from mean
	// squares; one that is below 0 by chance is given so and counts as 0 in the errors.
	Judge, Item, Residual float64
	// RandomError is the standard error of Proportion over other judges and other items;
	// JudgesError over other judges alone, the residual counted with them.
	RandomError, JudgesError float64
	Median                   float64 // of the judges' totals
	Trimmed                  float64 // their mean without the highest and lowest tenth
}

// Angoff computes the cut of judges (rows) by items (columns), each entry the chance, 0..1, that a
// trainee who just meets the standard gets the item right. All judges rate all items; the interval
// is at a confidence level (0.95 for 95 %).
//
// Model: judges are a sample of the judges there could be, so the error is that of a mean of
// totals (Angoff 1971; Brennan and Lockwood 1980, Appl Psychol Meas 4:219-40, from memory). Errors:
// a *TooFew with fewer than 2 judges or 1 item (2 for the components); ratings outside 0..1, rows
// of different length, a level outside 0..1.
func Angoff(ratings [][]float64, level float64) (AngoffCut, error) {
	if err := checkLevel(level); err != nil {
		return AngoffCut{}, err
	}
	if len(ratings) < 2 {
		return AngoffCut{}, &TooFew{2 - len(ratings), "judges"}
	}
	judges, items := len(ratings), len(ratings[0])
	if items < 1 {
		return AngoffCut{}, &TooFew{1, "items"}
	}
	c := AngoffCut{Judges: judges, Items: items}
	columns := make([][]float64, items)
	for j, row := range ratings {
		if len(row) != items {
			return AngoffCut{}, fmt.Errorf("judge %d rated %d items, judge 1 rated %d: every judge rates every item", j+1, len(row), items)
		}
		total := 0.0
		for i, p := range row {
			if !(p >= 0 && p <= 1) {
				return AngoffCut{}, fmt.Errorf("judge %d gave item %d a chance of %g: give 0 to 1", j+1, i+1, p)
			}
			total += p
			columns[i] = append(columns[i], p)
		}
		c.Totals = append(c.Totals, total)
	}
	for _, col := range columns {
		c.ItemMeans = append(c.ItemMeans, mean(col))
		c.ItemSpread = append(c.ItemSpread, spread(col))
	}
	c.Cut = mean(c.Totals)
	c.Proportion = c.Cut / float64(items)
	c.Median = median(c.Totals)
	sorted := append([]float64(nil), c.Totals...)
	sort.Float64s(sorted)
	tenth := judges / 10
	c.Trimmed = mean(sorted[tenth : judges-tenth])
	c.Spread = spread(c.Totals)
	c.FixedError = c.Spread / math.Sqrt(float64(judges))
	c.Interval = within(c.Cut, c.FixedError, float64(judges-1), level)
	c.components(ratings)
	return c, nil
}

// components estimates the variance components from mean squares.
func (c *AngoffCut) components(ratings [][]float64) {
	if c.Items < 2 {
		c.Judge = c.Spread * c.Spread
		c.JudgesError, c.RandomError = c.FixedError, c.FixedError
		return
	}
	j, i := float64(c.Judges), float64(c.Items)
	var ssJudge, ssItem, ssAll float64
	for k, row := range ratings {
		d := c.Totals[k]/i - c.Proportion
		ssJudge += i * d * d
		for _, p := range row {
			ssAll += (p - c.Proportion) * (p - c.Proportion)
		}
	}
	for _, m := range c.ItemMeans {
		ssItem += j * (m - c.Proportion) * (m - c.Proportion)
	}
	c.Residual = (ssAll - ssJudge - ssItem) / ((j - 1) * (i - 1))
	c.Judge = (ssJudge/(j-1) - c.Residual) / i
	c.Item = (ssItem/(i-1) - c.Residual) / j
	judge, item, residual := math.Max(0, c.Judge), math.Max(0, c.Item), math.Max(0, c.Residual)
	c.JudgesError = math.Sqrt(judge/j + residual/(i*j))
	c.RandomError = math.Sqrt(judge/j + item/i + residual/(i*j))
}
