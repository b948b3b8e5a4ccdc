package credit

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
)

type reference struct {
	Cases []struct {
		Inputs struct {
			Panel     [][]int `json:"panel_experts_by_items"`
			Responses [][]int `json:"responses_candidates_by_items"`
		}
		Expected struct {
			Votes       []int
			Credit      []float64
			ItemVotes   [][]int     `json:"votes_rows_answers_cols_items"`
			ItemCredit  [][]float64 `json:"credit_rows_answers_cols_items"`
			Credits     [][]float64
			Percent     []float64 `json:"score_percent"`
			LeaveOneOut []float64 `json:"panel_leave_one_out_percent"`
		}
	}
}

func read(t *testing.T) reference {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/script_concordance.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref reference
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Cases) != 2 {
		t.Fatalf("%d cases in the reference, want 2", len(ref.Cases))
	}
	return ref
}

func panel(votes ...int) Panel {
	p := make(Panel, len(votes))
	for i, v := range votes {
		p[i] = Choice{strconv.Itoa(i + 1), v}
	}
	return p
}

// Ten experts vote 0, 1, 1, 6, 2: check by hand 0, 1/6, 1/6, 1, 2/6.
func TestCreditByHand(t *testing.T) {
	want := read(t).Cases[0].Expected
	got, err := panel(want.Votes...).Credits()
	if err != nil {
		t.Fatal(err)
	}
	for i := range got {
		if math.Abs(got[i]-want.Credit[i]) > 1e-12 {
			t.Errorf("choice %d: %g, want %g", i, got[i], want.Credit[i])
		}
	}
}

// The whole reference test: votes counted from the panel's answers, each candidate's credits and
// score, and each panel member scored against the others.
func TestCreditAgreesWithTheReference(t *testing.T) {
	c := read(t).Cases[1]
	items := len(c.Inputs.Panel[0])
	panels := make([]Panel, items)
	for i := range panels {
		panels[i] = panel(0, 0, 0, 0, 0)
		for _, member := range c.Inputs.Panel {
			panels[i][member[i]-1].Votes++
		}
		credits, err := panels[i].Credits()
		if err != nil {
			t.Fatal(err)
		}
		for a := range credits {
			if panels[i][a].Votes != c.Expected.ItemVotes[a][i] || math.Abs(credits[a]-c.Expected.ItemCredit[a][i]) > 1e-12 {
				t.Errorf("item %d answer %d: %d votes, credit %g", i, a, panels[i][a].Votes, credits[a])
			}
		}
	}
	for k, answers := range c.Inputs.Responses {
		sum := 0.0
		for i, a := range answers {
			got, err := panels[i].Credit(strconv.Itoa(a))
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-c.Expected.Credits[k][i]) > 1e-12 {
				t.Errorf("candidate %d item %d: %g, want %g", k, i, got, c.Expected.Credits[k][i])
			}
			sum += got
		}
		if got := 100 * sum / float64(items); math.Abs(got-c.Expected.Percent[k]) > 1e-8 {
			t.Errorf("candidate %d scores %g, want %g", k, got, c.Expected.Percent[k])
		}
	}
	for m, answers := range c.Inputs.Panel {
		sum := 0.0
		for i, a := range answers {
			id := strconv.Itoa(a)
			others, err := panels[i].Without(id)
			if err != nil {
				t.Fatal(err)
			}
			got, err := others.Credit(id)
			if err != nil {
				t.Fatal(err)
			}
			sum += got
		}
		if got := 100 * sum / float64(items); math.Abs(got-c.Expected.LeaveOneOut[m]) > 1e-8 {
			t.Errorf("member %d scores %g against the others, want %g", m, got, c.Expected.LeaveOneOut[m])
		}
	}
}

func TestPanelsRefuse(t *testing.T) {
	for name, p := range map[string]Panel{
		"no choices": {}, "no votes": panel(0, 0), "below 0": panel(3, -1),
		"twice": {{"a", 1}, {"a", 2}}, "no id": {{"", 1}},
	} {
		if got, err := p.Credits(); err == nil {
			t.Errorf("%s: %v", name, got)
		}
	}
	p := panel(3, 0)
	if got, err := p.Credit("9"); err == nil {
		t.Errorf("a choice not offered earned %g", got)
	}
	if got, err := p.Without("2"); err == nil {
		t.Errorf("a vote nobody cast was taken away: %v", got)
	}
	if p.Without("1"); p[0].Votes != 3 {
		t.Error("Without changed the panel")
	}
}
