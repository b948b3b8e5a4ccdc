package agree

import (
	"math"
	"strings"
	"testing"
)

type intraclass struct {
	Cases []struct {
		ID       string
		Inputs   [][]float64
		Expected struct {
			Targets  int     `json:"n_targets"`
			Raters   int     `json:"k_judges"`
			Between  float64 `json:"MS_between_targets"`
			Within   float64 `json:"MS_within"`
			RatersMS float64 `json:"MS_judges"`
			Residual float64 `json:"MS_residual"`
			Conf     float64
			ICC      []struct {
				Name         string
				ICC, F, P    float64
				DF1, DF2     float64
				Lower, Upper float64
			}
		}
	}
	Missing struct {
		Inputs   [][]*float64
		Expected struct {
			Target      float64 `json:"var_target"`
			Rater       float64 `json:"var_judge"`
			Residual    float64 `json:"var_residual"`
			Absolute    float64 `json:"icc_absolute_single"`
			Consistency float64 `json:"icc_consistency_single"`
			N           int     `json:"n_obs"`
		}
	} `json:"missing_data_case"`
	Published struct{ Values map[string]float64 } `json:"published_cross_check"`
}

// Shrout and Fleiss 1979 table 2 (95 % and 90 %) and a 20 x 3 table, against R psych 2.2.9:
// coefficients, F and mean squares to 1e-6, intervals to 1e-4.
func TestIntraclassAgreesWithTheReference(t *testing.T) {
	var ref intraclass
	read(t, "icc.json", &ref)
	if len(ref.Cases) != 3 {
		t.Fatalf("%d cases in the reference", len(ref.Cases))
	}
	for _, c := range ref.Cases {
		got, err := Intraclass(c.Inputs, c.Expected.Conf)
		if err != nil {
			t.Fatal(err)
		}
		want := c.Expected
		near(t, c.ID+" between", got.BetweenMS, want.Between, 1e-6)
		near(t, c.ID+" within", got.WithinMS, want.Within, 1e-6)
		near(t, c.ID+" raters", got.RatersMS, want.RatersMS, 1e-6)
		near(t, c.ID+" residual", got.ResidualMS, want.Residual, 1e-6)
		if len(got.Coefficients) != 6 || len(want.ICC) != 6 {
			t.Fatalf("%s: %d coefficients, left undefined %v", c.ID, len(got.Coefficients), got.NotDefined)
		}
		for _, w := range want.ICC {
			name := strings.Fields(w.Name)[0]
			g, ok := got.named(name)
			if !ok {
				t.Fatalf("%s: no %s", c.ID, name)
			}
			near(t, c.ID+" "+name, g.Value, w.ICC, 1e-6)
			near(t, c.ID+" F of "+name, g.F, w.F, 1e-6)
			near(t, c.ID+" df1 of "+name, g.DF1, w.DF1, 0)
			near(t, c.ID+" df2 of "+name, g.DF2, w.DF2, 0)
			near(t, c.ID+" p of "+name, g.P, w.P, 1e-6)
			near(t, c.ID+" low of "+name, g.Low, w.Lower, 1e-4)
			near(t, c.ID+" high of "+name, g.High, w.Upper, 1e-4)
		}
	}
	// The printed table of Shrout and Fleiss 1979, quoted from memory in the file.
	got, _ := Intraclass(ref.Cases[0].Inputs, 0.95)
	for name, want := range ref.Published.Values {
		c, _ := got.named(strings.Replace(name, "4)", "k)", 1))
		near(t, "printed "+name, c.Value, want, 0.006)
	}
}

func TestIntraclassRefuses(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		scores [][]float64
		says   string
	}{
		"empty":       {nil, "not enough yet: 2 more targets"},
		"one target":  {[][]float64{{1, 2}}, "not enough yet: 1 more target;"},
		"one rater":   {[][]float64{{1}, {2}}, "not enough yet: 1 more rater;"},
		"no raters":   {[][]float64{{}, {}}, "not enough yet: 2 more raters"},
		"ragged":      {[][]float64{{1, 2}, {3}}, "one cell for each rater"},
		"gap":         {[][]float64{{1, 2}, {3, nan}}, "target 2, rater 2 has no score"},
		"infinite":    {[][]float64{{1, 2}, {3, math.Inf(1)}}, "between -1e100 and 1e100"},
		"constant":    {[][]float64{{4, 4}, {4, 4}, {4, 4}}, "every score is the same"},
		"no residual": {[][]float64{{1, 2}, {2, 3}, {5, 6}}, "agreement is perfect"},
	} {
		got, err := Intraclass(c.scores, .95)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, %v", name, got, err)
		}
	}
	if _, err := Intraclass([][]float64{{1, 2}, {3, 5}}, 1); err == nil {
		t.Error("level 1 was accepted")
	}
}

// Ties all through: targets with the same mean leave ICC(.,k) undefined; they are named, not shown.
func TestIntraclassNamesWhatIsUndefined(t *testing.T) {
	got, err := Intraclass([][]float64{{1, 3}, {3, 1}, {1, 3}, {3, 1}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Coefficients)+len(got.NotDefined) != 6 {
		t.Errorf("%d given and %v undefined do not make six", len(got.Coefficients), got.NotDefined)
	}
	for _, c := range got.Coefficients {
		if !finite(c.Value, c.F, c.P, c.Low, c.High) {
			t.Errorf("%+v", c)
		}
	}
}

// Moving and stretching the scale changes no correlation.
func TestIntraclassDoesNotDependOnTheScale(t *testing.T) {
	scores := [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}
	want, _ := Intraclass(scores, .95)
	for _, scale := range []struct{ by, plus float64 }{{1e-30, 0}, {1e40, 0}, {3, -1e6}} {
		moved := make([][]float64, len(scores))
		for i, row := range scores {
			for _, v := range row {
				moved[i] = append(moved[i], scale.by*v+scale.plus)
			}
		}
		got, err := Intraclass(moved, .95)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range got.Coefficients {
			near(t, c.Name, c.Value, want.Coefficients[i].Value, 1e-8)
			near(t, c.Name+" low", c.Low, want.Coefficients[i].Low, 1e-7)
		}
	}
}
