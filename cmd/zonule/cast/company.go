package cast

import (
	"context"
	"fmt"
	"math/rand/v2"

	"golang.org/x/sync/errgroup"

	"zonule/cmd/zonule/site"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/scenarios/library"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
	"zonule/services/clock"
	"zonule/services/rpc"
)

// Recommended names the policy that the invented trainees are learning towards.
const Recommended = "recommended"

// part is one scenario of the library with the policy it is played by.
type part struct {
	scenario *script.Scenario
	policy   play.Policy
}

// Company plays an invented programme through the offices of a site.
type Company struct {
	clients site.Clients
	clock   *clock.Set
	parts   []part
}

// NewCompany reads the library. The clock is the site's; it is set to each session's day in turn.
func NewCompany(c site.Clients, set *clock.Set) (*Company, error) {
	company := &Company{clients: c, clock: set}
	items, err := library.All()
	if err != nil {
		return nil, err
	}
	for _, item := range items {
		if p, ok := item.Policy(Recommended); ok {
			company.parts = append(company.parts, part{item.Scenario, p})
		}
	}
	if len(company.parts) == 0 {
		return nil, fmt.Errorf("the library has no scenario with a policy called %q", Recommended)
	}
	return company, nil
}

// Enrol describes the programme as invented and enrols its people.
func (c *Company) Enrol(ctx context.Context, people []Person) error {
	_, err := c.clients.Roster.DescribeProgramme(ctx, &rosterv1.DescribeProgrammeRequest{RequestId: "cast-programme", Name: Programme, Invented: true})
	for _, p := range people {
		if err != nil {
			return err
		}
		_, err = c.clients.Roster.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "cast-" + p.ID, PersonId: p.ID, DisplayName: p.Name, Roles: p.Roles})
	}
	return err
}

// Play plays the plan session by session; the trainees of one session play at the same time. told, when given,
// is called after each session with how many are done.
func (c *Company) Play(ctx context.Context, plan Plan, told func(done, of int)) error {
	sessions := plan.Schedule(len(c.parts))
	for i, s := range sessions {
		c.clock.Put(s.Start)
		g, ctx := errgroup.WithContext(ctx)
		g.SetLimit(4)
		for bench, turn := range s.Turns {
			g.Go(func() error { return c.turn(ctx, turn, fmt.Sprintf("bench %d", 1+bench%4)) })
		}
		if err := g.Wait(); err != nil {
			return fmt.Errorf("session %d of the invented programme: %w", i+1, err)
		}
		if told != nil {
			told(i+1, len(sessions))
		}
	}
	return nil
}

// turn plays one drill to its end and has it judged.
func (c *Company) turn(ctx context.Context, t Turn, bench string) error {
	part := c.parts[t.Scenario]
	ctx = rpc.As(ctx, t.Person)
	id := fmt.Sprintf("cast-%s-%x", t.Person, t.Seed)
	started, err := c.clients.Drill.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: id, PersonId: t.Person, ScenarioId: part.scenario.ID, Seed: t.Seed, Bench: bench})
	if err != nil {
		return err
	}
	player := play.NewPlayer(hurried(part.policy, t), part.scenario, t.Skill, t.Seed)
	d, s := started.GetDrill(), started.GetScene()
	for d.GetState() == drillv1.DrillState_DRILL_STATE_RUNNING {
		r := request(player.Choose(seen(s)))
		if s.GetIndex() >= play.MaxDecisions {
			r.What = &drillv1.DecideRequest_Choice{Choice: script.SafeStop}
		}
		r.RequestId, r.DrillId, r.Index = fmt.Sprintf("%s-%d", id, s.GetIndex()), d.GetDrillId(), s.GetIndex()
		answer, err := c.clients.Drill.Decide(ctx, r)
		if err != nil {
			return err
		}
		d, s = answer.GetDrill(), answer.GetScene()
	}
	_, err = c.clients.Assessment.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "judge-" + d.GetDrillId(), DrillId: d.GetDrillId()})
	return err
}

// hurried lengthens the thinking of the less skilled: who is unsure takes up to half as long again, and the
// draw of the drill's own seed moves it by a tenth either way.
func hurried(p play.Policy, t Turn) play.Policy {
	draw := rand.New(rand.NewPCG(t.Seed, 0x706163))
	pace := (1.5 - 0.5*t.Skill) * (0.9 + 0.2*draw.Float64())
	p.ThinkFrom, p.ThinkTo = p.ThinkFrom*pace, p.ThinkTo*pace
	return p
}

// seen is the scene as a policy sees it.
func seen(s *drillv1.Scene) play.Scene {
	out := play.Scene{LimitS: s.GetLimitS(), Index: int(s.GetIndex())}
	for _, c := range s.GetChoices() {
		out.Choices = append(out.Choices, play.Offer{ID: c.GetId(), Say: c.GetSay(), AsksReason: c.GetAsksReason()})
	}
	return out
}

// request is the decision as the office takes it.
func request(d play.Decision) *drillv1.DecideRequest {
	r := &drillv1.DecideRequest{ElapsedS: d.Elapsed, Reason: d.Reason}
	if d.TimedOut {
		r.What = &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
		return r
	}
	r.What = &drillv1.DecideRequest_Choice{Choice: d.Choice}
	return r
}
