package credit

import (
	"math"
	"testing"
)

// With two choices the resampled credits are functions of one binomial count, so their standard
// deviation can be added up exactly.
func TestResampleAgreesWithTheBinomial(t *testing.T) {
	p := Panel{{"a", 7}, {"b", 3}}
	got, err := p.Resample(50_000, 1)
	if err != nil {
		t.Fatal(err)
	}
	const n = 10
	var mean, square float64
	weight := math.Pow(.7, n) // of k = 0 votes for b
	for k := range n + 1 {
		most := math.Max(float64(k), float64(n-k))
		credit := float64(k) / most
		mean += weight * credit
		square += weight * credit * credit
		weight *= float64(n-k) / float64(k+1) * .3 / .7
	}
	want := math.Sqrt(square - mean*mean)
	if math.Abs(got[1].Error-want) > .01*want {
		t.Errorf("error %.4f, want %.4f", got[1].Error, want)
	}
	if got[1].Credit != 3./7 || got[1].Low > got[1].Credit || got[1].High < got[1].Credit {
		t.Errorf("%+v", got[1])
	}
	again, _ := p.Resample(50_000, 1)
	if again[0] != got[0] {
		t.Error("the same seed gave another number")
	}
}

func TestResampleAtTheEnds(t *testing.T) {
	all, err := Panel{{"a", 8}, {"b", 0}}.Resample(500, 2)
	if err != nil || all[0].Error != 0 || all[1].Error != 0 || all[0].Low != 1 {
		t.Errorf("a panel at one: %+v, %v", all, err)
	}
	for name, f := range map[string]func() ([]Spread, error){
		"no votes":   func() ([]Spread, error) { return Panel{{"a", 0}}.Resample(500, 1) },
		"one member": func() ([]Spread, error) { return Panel{{"a", 1}, {"b", 0}}.Resample(500, 1) },
		"few panels": func() ([]Spread, error) { return Panel{{"a", 2}, {"b", 1}}.Resample(5, 1) },
		"many":       func() ([]Spread, error) { return Panel{{"a", 2}, {"b", 1}}.Resample(1<<30, 1) },
	} {
		if got, err := f(); err == nil {
			t.Errorf("%s: %v", name, got)
		}
	}
}
