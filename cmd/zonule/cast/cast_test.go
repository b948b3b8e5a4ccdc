package cast

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestScheduleIsDrawnFromTheSeedAlone(t *testing.T) {
	plan := Plan{Trainees: 5, Rounds: 7, Seed: 3, End: time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)}
	a, b := plan.Schedule(3), plan.Schedule(3)
	if diff := cmp.Diff(a, b); diff != "" {
		t.Errorf("two draws differ:\n%s", diff)
	}
	if !a[6].Start.Equal(plan.End) || !a[0].Start.Before(a[1].Start) {
		t.Errorf("sessions run from %v to %v", a[0].Start, a[6].Start)
	}
	played := map[string]map[int]bool{}
	for _, s := range a {
		for _, turn := range s.Turns {
			if played[turn.Person] == nil {
				played[turn.Person] = map[int]bool{}
			}
			played[turn.Person][turn.Scenario] = true
			if turn.Skill <= 0 || turn.Skill >= 1 {
				t.Errorf("%s has skill %v", turn.Person, turn.Skill)
			}
		}
	}
	for person, scenarios := range played {
		if len(scenarios) != 3 {
			t.Errorf("%s met %d of 3 scenarios", person, len(scenarios))
		}
	}
	for i := range a[0].Turns {
		if a[6].Turns[i].Skill <= a[0].Turns[i].Skill {
			t.Errorf("%s did not learn", a[0].Turns[i].Person)
		}
	}
}

func TestPeople(t *testing.T) {
	ids := map[string]bool{}
	for _, p := range People(MostTrainees) {
		if ids[p.ID] || p.Name == "" || len(p.Roles) == 0 {
			t.Errorf("%+v is not whole, or stands twice", p)
		}
		ids[p.ID] = true
	}
	if len(ids) != MostTrainees+5 {
		t.Errorf("%d people", len(ids))
	}
}
