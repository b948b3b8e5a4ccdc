package main

import (
	"os"
	"testing"

	"zonule/scenarios/author"
)

// What the library promises of every scenario, by playing it: the author's way is among the best twentieth by marks and
// by the eye's harm index and commits no critical error, every ending is reached, and every criterion that the scenario
// says it gives evidence of moves. With ZONULE_LONG every scenario is explored; without, none.
func TestTheLibraryExplored(t *testing.T) {
	if os.Getenv("ZONULE_LONG") == "" {
		t.Skip("minutes of computing; set ZONULE_LONG=1")
	}
	files, err := scenarioFiles("../../scenarios/library")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		f, err := openFolder(file)
		if err != nil {
			t.Fatal(err)
		}
		plan := author.Usual(1)
		plan.Policies, plan.Judge = f.policies, f.judge()
		r, err := author.Explore(f.scenario, plan)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		if !r.Way.InTop || r.Way.Critical > 0 || r.Way.Unsafe > 0 {
			t.Errorf("%s: the author's way: %+v", r.Scenario, r.Way)
		}
		for _, e := range r.Endings {
			if e.Count == 0 {
				t.Errorf("%s: no drill ended in %s", r.Scenario, e.ID)
			}
		}
		for _, m := range r.Criteria {
			if !m.Moves {
				t.Errorf("%s: the criterion %s never moved", r.Scenario, m.Criterion)
			}
		}
		for _, look := range r.Look {
			t.Logf("%s: look at: %s", r.Scenario, look)
		}
	}
}
