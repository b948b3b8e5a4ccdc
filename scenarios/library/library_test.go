package library

import (
	"slices"
	"strings"
	"testing"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

func all(t testing.TB) []Item {
	t.Helper()
	items, err := All()
	if err != nil {
		t.Fatal(err)
	}
	return items
}

func TestLibraryIsWhole(t *testing.T) {
	items := all(t)
	normal := 0
	for _, it := range items {
		sc := it.Scenario
		if sc.Normal() {
			normal++
		}
		for _, v := range []string{"easier", "usual", "harder"} {
			if _, ok := sc.Variant(v); !ok {
				t.Errorf("%s has no variant %s", it.ID, v)
			}
		}
		if !sc.FreeHands || len(it.Rubric) == 0 || !strings.Contains(sc.Cautions, "not for use on or about a patient") {
			t.Errorf("%s: free hands, rubric or cautions are missing", it.ID)
		}
		// A complication has a policy for each thing never to do, which differ from case to case; a normal case
		// has the one that stops without need.
		if _, ok := it.Policy("stop-needlessly"); sc.Normal() && !ok {
			t.Errorf("%s has no policy stop-needlessly", it.ID)
		}
		if n := len(it.Policies); it.Policies[0].Name != "recommended" || !sc.Normal() && n < 3 {
			t.Errorf("%s: %d policies, the first is %s; want recommended first, and at least two ways to go wrong", it.ID, n, it.Policies[0].Name)
		}
		if n := len(sc.Evidences); n < 4 {
			t.Errorf("%s gives evidence of %d competencies, want at least four", it.ID, n)
		}
		printed := script.Format(sc)
		again, err := script.Parse("printed.yaml", printed)
		if err != nil || string(script.Format(again)) != string(printed) {
			t.Errorf("%s does not survive printing: %v", it.ID, err)
		}
	}
	if 5*normal < len(items) {
		t.Errorf("%d normal cases among %d; at least a fifth is wanted, so that freezing is not always right", normal, len(items))
	}
	if _, err := Find("no-such-case"); err == nil {
		t.Error("an unknown scenario was found")
	}
}

// The author's way is long enough, is never refused by the eye, and is preferred or acceptable throughout.
func TestTheAuthorsWay(t *testing.T) {
	for _, it := range all(t) {
		p, _ := it.Policy("recommended")
		for _, v := range it.Scenario.Variants {
			for seed := uint64(100); seed < 103; seed++ {
				tl := playOne(t, it, v.Name, p, seed).Timeline()
				if n := len(tl.Steps); n < 5 || n > 18 {
					t.Errorf("%s %s: %d decisions", it.ID, v.Name, n)
				}
				if !tl.Safe {
					t.Errorf("%s %s seed %d ends in %s", it.ID, v.Name, seed, tl.Ending)
				}
				for _, s := range tl.Steps {
					if s.Refused != "" || slices.ContainsFunc(s.Doing.Marks, isPassedOver) {
						t.Errorf("%s %s: %s at %s could not be done whole: %s", it.ID, v.Name, s.Choice, s.Stage, s.Refused)
					}
					if s.Stance != play.Preferred && s.Stance != play.Acceptable {
						t.Errorf("%s: %s is %s", it.ID, s.Choice, s.Stance)
					}
				}
			}
		}
	}
}

// Every choice can be taken by somebody, every stage is seen, and no way through a scenario fails.
func TestEveryChoiceCanBeTaken(t *testing.T) {
	for _, it := range all(t) {
		t.Run(it.ID, func(t *testing.T) {
			t.Parallel()
			taken := map[string]bool{}
			for seed := uint64(1); seed <= 240; seed++ {
				p := it.Policies[0]
				if seed%3 == 0 {
					p = it.Policies[int(seed/3)%len(it.Policies)]
				}
				if seed%5 == 0 {
					p.ThinkTo = 30 // some clocks run out
				}
				d, err := play.New(it.Scenario, play.Options{Seed: seed})
				if err == nil {
					err = play.NewPlayer(p, it.Scenario, 0.6, seed).Play(d)
				}
				if err != nil {
					t.Fatalf("seed %d: %v", seed, err)
				}
				for _, s := range d.Timeline().Steps {
					taken[s.Choice], taken[s.Stage] = true, true
				}
			}
			for _, st := range it.Scenario.Stages {
				if !taken[st.Name] {
					t.Errorf("nobody came to the stage %s", st.Name)
				}
				for _, c := range st.Choices {
					if !taken[c.ID] {
						t.Errorf("nobody took %s at %s", c.ID, st.Name)
					}
				}
			}
		})
	}
}

func isPassedOver(m eye.Mark) bool { return m.Name == script.PassedOver }
