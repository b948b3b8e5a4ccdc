package calibrate

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

func readCSV(t *testing.T, name string) (heading []string, rows [][]float64) {
	t.Helper()
	f, err := os.Open("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.TrimLeadingSpace = true
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines[1:] {
		var row []float64
		for _, cell := range line {
			v, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return lines[0], rows
}

type rasch struct {
	Cases []struct {
		ID, CSV string
		CML     struct {
			Difficulty []float64 `json:"difficulty_sum_zero"`
			Error      []float64 `json:"se"`
			LogLik     float64   `json:"conditional_logLik"`
			Thresholds [][]float64
			MeanZero   [][]float64 `json:"thresholds_mean_zero"`
			Errors     []float64   `json:"thresholds_se"`
			Location   []float64
		}
		Persons []struct {
			Raw     int
			ML      *float64
			MLError *float64 `json:"ml_se"`
			WLE     float64
			Error   float64 `json:"wle_se_1_over_sqrt_info"`
		} `json:"person_by_raw_score"`
		Fit []struct {
			Item    int
			Chisq   float64
			DF      int
			Outfit  float64 `json:"outfit_msq"`
			Infit   float64 `json:"infit_msq"`
			OutfitT float64 `json:"outfit_t"`
			InfitT  float64 `json:"infit_t"`
		} `json:"item_fit"`
		Frequencies map[string]int `json:"raw_score_frequencies"`
		Inputs      struct {
			Patterns []struct {
				Pattern string
				N       int
			}
		}
	}
}

// Law school test, section 6 (Bock and Lieberman 1970), and example data of R packages: dichotomous
// parameters to 1e-6, partial credit and rating scale to 1e-4 (the reference stops there), standard
// errors to 1e-5 and 1e-3, the logarithm of the likelihood to 1e-6, abilities to 1e-4, mean squares
// to 2e-3.
func TestScalesAgreeWithTheReference(t *testing.T) {
	var ref rasch
	readJSON(t, "rasch_pcm.json", &ref)
	if len(ref.Cases) != 4 {
		t.Fatalf("%d cases in the reference", len(ref.Cases))
	}
	for _, c := range ref.Cases {
		t.Run(c.ID, func(t *testing.T) {
			var x [][]float64
			if c.CSV != "" {
				_, x = readCSV(t, c.CSV)
			}
			for _, p := range c.Inputs.Patterns {
				for range p.N {
					var row []float64
					for _, b := range p.Pattern {
						row = append(row, float64(b-'0'))
					}
					x = append(x, row)
				}
			}
			if c.ID == "raschdat1" {
				_, x = readCSV(t, "raschdat1.csv")
			}
			model, tolerance, errorTolerance := Rasch, 1e-6, 1e-5
			switch {
			case strings.HasSuffix(c.ID, "PCM"):
				model, tolerance, errorTolerance = PartialCredit, 1e-4, 1e-3
			case strings.HasSuffix(c.ID, "RSM"):
				model, tolerance, errorTolerance = RatingScale, 1e-4, 1e-3
			}
			s, err := model(x)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "log-likelihood", s.LogLikelihood, c.CML.LogLik, 1e-6)
			for i, want := range c.CML.Difficulty {
				near(t, "difficulty", s.Items[i].Location.Value, want, tolerance)
				near(t, "error", s.Items[i].Thresholds[0].Error, c.CML.Error[i], errorTolerance)
			}
			for i, row := range c.CML.MeanZero {
				for k, want := range row {
					near(t, "threshold", s.Items[i].Thresholds[k].Value, want, tolerance)
				}
			}
			if c.CML.Thresholds != nil {
				// The reference's origin: the category parameters sum to 0, so a threshold counts once for
				// each category above it. For the rating scale that is not so, whatever the file says: its
				// first thresholds sum to 0, in the numbers themselves.
				var weights [][]float64
				sum := 0.0
				for _, item := range s.Items {
					var row []float64
					for k := range item.Thresholds {
						v := float64(len(item.Thresholds) - k)
						if s.Steps != nil {
							v = 0
							if k == 0 {
								v = 1
							}
						}
						row = append(row, v)
						sum += row[k]
					}
					weights = append(weights, row)
				}
				for _, row := range weights {
					for k := range row {
						row[k] /= sum
					}
				}
				if s, err = s.From(weights); err != nil {
					t.Fatal(err)
				}
				at := 0
				for i, row := range c.CML.Thresholds {
					for k, want := range row {
						near(t, "threshold from there", s.Items[i].Thresholds[k].Value, want, tolerance)
						near(t, "its error", s.Items[i].Thresholds[k].Error, c.CML.Errors[at], errorTolerance)
						at++
					}
					near(t, "location", s.Items[i].Location.Value, c.CML.Location[i], tolerance)
				}
			}
			beta := cumulated(s.table.top, s.thresholds)
			for _, p := range c.Persons {
				_, most, _ := s.table.total(0)
				m := Measure{Score: p.Raw, Most: most}
				if err := m.estimate(beta); err != nil {
					t.Fatal(err)
				}
				if (p.ML == nil) != (m.Likelihood == nil) {
					t.Fatalf("score %d: maximum likelihood %v", p.Raw, m.Likelihood)
				}
				if p.ML != nil {
					near(t, "ability", m.Likelihood.Value, *p.ML, 1e-4)
					near(t, "ability error", m.Likelihood.Error, *p.MLError, 1e-4)
				}
				near(t, "Warm", m.Warm.Value, p.WLE, 1e-4)
				near(t, "Warm error", m.Warm.Error, p.Error, 1e-4)
			}
			for _, f := range c.Fit {
				got := s.Items[f.Item-1].Fit
				near(t, "infit", got.Infit, f.Infit, 2e-3)
				near(t, "outfit", got.Outfit, f.Outfit, 2e-3)
				near(t, "infit t", got.InfitStandard, f.InfitT, 2e-2)
				near(t, "outfit t", got.OutfitStandard, f.OutfitT, 2e-2)
				near(t, "responses", float64(got.Responses), float64(f.DF), 0)
			}
			if len(c.Fit) == 0 || len(c.Persons) == 0 {
				t.Error("no fit or persons in the reference")
			}
		})
	}
}
