package calibrate

import (
	"math/rand/v2"
	"testing"
)

// steps is thresholds for items of three thresholds each, whose middles go from -spread to spread.
func steps(items int, spread float64) [][]float64 {
	out := make([][]float64, items)
	for i := range out {
		at := spread * (2*float64(i)/float64(max(1, items-1)) - 1)
		out[i] = []float64{at - 1, at + .1, at + .9}
	}
	return out
}

// Partial credit, 1,000 persons by 60 items of four categories, 20 % missing.
func BenchmarkPartialCredit(b *testing.B) {
	for _, c := range []struct {
		name string
		gaps float64
	}{{"full", 0}, {"gaps20", .2}} {
		b.Run(c.name, func(b *testing.B) {
			x := cohort(rand.New(rand.NewPCG(60, 1000)), 1000, steps(60, 2), 1.2, c.gaps)
			for b.Loop() {
				if _, err := PartialCredit(x); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
