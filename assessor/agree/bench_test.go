package agree

import (
	"math/rand/v2"
	"testing"
)

// Restricted maximum likelihood of p x i x r, 200 persons by 20 items by 4 raters.
func BenchmarkGeneralize(b *testing.B) {
	v := []float64{1, .3, .2, .5, .1, .05, .8}
	for _, c := range []struct {
		name string
		gaps float64
	}{{"full", 0}, {"gaps20", .2}} {
		b.Run(c.name, func(b *testing.B) {
			obs := cohort(rand.New(rand.NewPCG(9, 9)), Crossed, 200, 20, 4, v, c.gaps)
			b.ReportMetric(float64(len(obs)), "scores")
			for b.Loop() {
				if _, err := Generalize(obs, Crossed); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
