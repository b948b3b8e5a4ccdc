// Package cast is an invented programme: invented people whose drills are played by decision policies through
// the real offices, engine and judge. Nothing about their results is typed in; how well each plays follows
// from a skill that grows with practice towards a plateau of the person's own, drawn from a seed.
package cast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

// Programme is what every page and paper of the invented programme is headed with.
const Programme = "Programme of the Invented Eye Clinic"

// Guest is the trainee for whoever tries the demonstration.
const Guest = "guest"

// Person is someone invented.
type Person struct {
	ID, Name string
	Roles    []rosterv1.Role
}

// trees name the invented trainees: nobody is called so, and the word in brackets says it again.
var trees = []string{"Alder", "Birch", "Cedar", "Elder", "Hazel", "Juniper", "Larch", "Rowan", "Spruce", "Willow", "Yew", "Hornbeam"}

// MostTrainees is how many trainees can be invented.
const MostTrainees = 12

// People gives n trainees, a facilitator, a supervisor, a director, an auditor, and the guest.
func People(n int) []Person {
	people := []Person{
		{Guest, "You (guest of the demonstration)", []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}},
		{"basalt", "Dr Basalt (invented)", []rosterv1.Role{rosterv1.Role_ROLE_SUPERVISOR}},
		{"granite", "Dr Granite (invented)", []rosterv1.Role{rosterv1.Role_ROLE_FACILITATOR, rosterv1.Role_ROLE_SUPERVISOR}},
		{"marble", "Prof. Marble (invented)", []rosterv1.Role{rosterv1.Role_ROLE_DIRECTOR}},
		{"slate", "Slate (invented)", []rosterv1.Role{rosterv1.Role_ROLE_AUDITOR}},
	}
	for i := range min(n, len(trees)) {
		people = append(people, Person{traineeID(i), trees[i] + " (invented)", []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
	}
	return people
}

func traineeID(i int) string { return fmt.Sprintf("trainee-%02d", i+1) }

// Plan says how much is played.
type Plan struct {
	Trainees int // 1 to MostTrainees
	Rounds   int // drills of each trainee
	Seed     uint64
	End      time.Time // when the last session was, on the invented calendar
}

// daysBetween separates two sessions of the wet lab.
const daysBetween = 9

// Turn is one drill of one trainee.
type Turn struct {
	Person   string
	Scenario int    // index into the library
	Seed     uint64 // of the drill and of the slips
	Skill    float64
}

// Session is one day of the wet lab: every trainee plays once.
type Session struct {
	Start time.Time
	Turns []Turn
}

// learner is how one invented trainee learns.
type learner struct{ plateau, gap, rate float64 }

// skill is the chance that a decision is the recommended one in the n-th drill, n from 1.
func (l learner) skill(n int) float64 { return l.plateau - l.gap*math.Exp(-l.rate*float64(n-1)) }

// Schedule draws the whole plan: which scenario, which circumstances and how skilled, from the seed alone.
func (p Plan) Schedule(scenarios int) []Session {
	draw := rand.New(rand.NewPCG(p.Seed, 0x7a6f6e756c65))
	learners := make([]learner, p.Trainees)
	for i := range learners {
		learners[i] = learner{plateau: 0.96 + 0.038*draw.Float64(), gap: 0.40 + 0.25*draw.Float64(), rate: 0.14 + 0.22*draw.Float64()}
	}
	sessions := make([]Session, p.Rounds)
	for round := range sessions {
		s := &sessions[round]
		s.Start = p.End.AddDate(0, 0, -daysBetween*(p.Rounds-1-round))
		for i, l := range learners {
			s.Turns = append(s.Turns, Turn{Person: traineeID(i), Scenario: (round + i) % scenarios, Seed: draw.Uint64(), Skill: l.skill(round + 1)})
		}
	}
	return sessions
}
