package assessor

import (
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"

	"zonule/assessor/rubric"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// The whole way: a scenario is parsed, played on the model eye, and judged by its rubric.
func TestPlayedDrillsAreJudged(t *testing.T) {
	text, err := os.ReadFile("testdata/scenario.yaml")
	if err != nil {
		t.Fatal(err)
	}
	sc, err := script.Parse("scenario.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	names := rubric.NamesOf(sc)
	if !cmp.Equal(names.Choices, []string{"hold", "leave", "fill-and-leave"}) || !cmp.Equal(names.Endings, []string{"out"}) || !cmp.Equal(names.Evidences, []string{"C1", "C2", "C9"}) || names.Scenario != "weak-sector" || !cmp.Equal(names.Said, []string{"stop", "refer", "stop"}) {
		t.Errorf("names %+v", names)
	}
	text, err = os.ReadFile("testdata/played.yaml")
	if err != nil {
		t.Fatal(err)
	}
	r, err := rubric.Parse("played.yaml", text, names)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		decisions []play.Decision
		levels    map[string]int
		critical  int
	}{
		{"held, filled, left", []play.Decision{{Choice: "hold", Elapsed: 3}, {Choice: "fill-and-leave", Elapsed: 4}}, map[string]int{"C1": 5, "C2": 5, "C9": 4}, 0},
		{"held late", []play.Decision{{Choice: "hold", Elapsed: 9}, {Choice: "fill-and-leave", Elapsed: 4}}, map[string]int{"C1": 3, "C2": 5, "C9": 4}, 0},
		{"pulled out at once", []play.Decision{{Choice: "leave", Elapsed: 2}}, map[string]int{"C1": 5, "C2": 1, "C9": 1}, 1},
		{"stopped and referred", []play.Decision{{Choice: "close-and-refer", Elapsed: 2}}, map[string]int{"C1": 5, "C2": 5, "C9": 4}, 0},
	} {
		d, err := play.New(sc, play.Options{Variant: "usual", Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, dec := range c.decisions {
			if _, err := d.Decide(dec); err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
		}
		a, err := Assess(*d.Timeline(), r)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, a)
		got := map[string]int{}
		for _, k := range a.Criteria {
			got[k.ID] = k.Level
		}
		if d := cmp.Diff(c.levels, got); d != "" || len(a.Critical) != c.critical {
			t.Errorf("%s: %d critical errors, levels %s", c.name, len(a.Critical), d)
			for _, k := range a.Criteria {
				t.Log(k.ID, k.Reason)
			}
		}
	}
}
