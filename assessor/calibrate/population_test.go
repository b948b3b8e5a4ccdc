package calibrate

import (
	"strings"
	"testing"
)

// Marginal estimates against R ltm and TAM: 1e-3 for items, and 5e-3 for facets, as the files advise.
func TestPopulationsAgreeWithTheReference(t *testing.T) {
	var ref struct {
		Cases []struct {
			ID     string
			Inputs struct {
				Patterns []struct {
					Pattern string
					N       int
				}
			}
			MML *struct {
				Sigma  float64
				B      []float64 `json:"b_slope1"`
				LogLik float64
			}
		}
	}
	readJSON(t, "rasch_pcm.json", &ref)
	done := 0
	for _, c := range ref.Cases {
		if c.MML == nil {
			continue
		}
		var x [][]float64
		for _, p := range c.Inputs.Patterns {
			for range p.N {
				var row []float64
				for _, b := range p.Pattern {
					row = append(row, float64(b-'0'))
				}
				x = append(x, row)
			}
		}
		if x == nil {
			_, x = readCSV(t, c.ID+".csv")
		}
		got, err := RaschPopulation(x)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.ID+" spread", got.Spread, c.MML.Sigma, 1e-3)
		near(t, c.ID+" log-likelihood", got.LogLikelihood, c.MML.LogLik, 1e-3)
		for i, want := range c.MML.B {
			near(t, c.ID+" difficulty", got.Thresholds[i][0], want, 1e-3)
		}
		also, err := PartialCreditPopulation(x)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.ID+" by partial credit", also.Spread, got.Spread, 1e-5)
		done++
	}
	if done != 2 {
		t.Errorf("%d marginal cases in the reference", done)
	}
}

func TestSeverityPopulationAgreesWithTheReference(t *testing.T) {
	var ref struct {
		Cases []struct {
			ID  string
			MML struct {
				TAM struct {
					Parameters map[string]float64
					Variance   float64 `json:"ability_variance"`
					Deviance   float64
				}
			}
		}
	}
	readJSON(t, "facets.json", &ref)
	for _, c := range ref.Cases {
		got, err := SeverityPopulation(ratings(t, c.ID+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		want := c.MML.TAM
		near(t, c.ID+" variance", got.Spread*got.Spread, want.Variance, 5e-3)
		near(t, c.ID+" deviance", -2*got.LogLikelihood, want.Deviance, 5e-3)
		seen := 0
		for name, v := range want.Parameters {
			k := int(name[len(name)-1] - '1')
			switch {
			case strings.HasPrefix(name, "I"):
				near(t, c.ID+" "+name, got.Items[k], v, 5e-3)
			case strings.HasPrefix(name, "r"):
				near(t, c.ID+" "+name, got.Raters[k], v, 5e-3)
			case strings.HasPrefix(name, "step"):
				near(t, c.ID+" "+name, got.Steps[k], v, 5e-3)
			}
			seen++
		}
		if seen < 7 {
			t.Errorf("%s: %d parameters", c.ID, seen)
		}
	}
}

// Persons who answer by the toss of a coin do not differ.
func TestPopulationRefusesWithoutSpread(t *testing.T) {
	var x [][]float64
	for p := range 64 {
		var row []float64
		for k := range 6 {
			row = append(row, float64(p>>k&1))
		}
		x = append(x, row)
	}
	if got, err := RaschPopulation(x); err == nil {
		t.Errorf("got %+v", got)
	}
	if _, err := RaschPopulation(nil); err == nil {
		t.Error("no persons were accepted")
	}
	if _, err := SeverityPopulation(nil); err == nil {
		t.Error("no ratings were accepted")
	}
}
