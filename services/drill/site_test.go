package drill

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"google.golang.org/grpc"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/clock"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/roster"
	"zonule/services/rpc/rpctest"
	"zonule/services/scenario"
)

var ctx = context.Background()

// site is a ledger in a folder of its own with the offices a drill needs; reopen starts all of it anew on the same
// folder, as after a power cut.
type site struct {
	t        testing.TB
	dir      string
	clock    *clock.Set
	sessions int
	ledger   *ledger.Ledger
	office   *Server
	client   drillv1.DrillServiceClient
	people   rosterv1.RosterServiceClient
	texts    scenariov1.ScenarioServiceClient
}

// start opens a site with one scenario, bench-case, and two trainees, ash-1 and bay-2, and a supervisor, cedar-3.
func start(t testing.TB) *site {
	s := &site{t: t, dir: t.TempDir(), clock: clock.NewSet(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))}
	s.open()
	t.Cleanup(func() {
		s.check()
		s.ledger.Close()
	})
	s.publish(nil)
	for id, role := range map[string]rosterv1.Role{"ash-1": rosterv1.Role_ROLE_TRAINEE, "bay-2": rosterv1.Role_ROLE_TRAINEE, "cedar-3": rosterv1.Role_ROLE_SUPERVISOR} {
		_, err := s.people.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "enrol-" + id, PersonId: id, DisplayName: id, Roles: []rosterv1.Role{role}})
		if err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func (s *site) open() {
	s.t.Helper()
	l, err := ledger.Open(ctx, ledger.Config{Dir: s.dir, Programme: "harbour", Site: "bench-room", Logger: rpctest.Silent(), Clock: s.clock,
		Views: []ledger.View{roster.View(), scenario.View(), View()}})
	if err != nil {
		s.t.Fatal(err)
	}
	s.ledger = l
	people, err := roster.New(roster.Deps{Ledger: l})
	if err != nil {
		s.t.Fatal(err)
	}
	texts, err := scenario.New(scenario.Deps{Ledger: l})
	if err != nil {
		s.t.Fatal(err)
	}
	offices := rpctest.Serve(s.t, func(g *grpc.Server) {
		rosterv1.RegisterRosterServiceServer(g, people)
		scenariov1.RegisterScenarioServiceServer(g, texts)
	})
	s.people, s.texts = rosterv1.NewRosterServiceClient(offices), scenariov1.NewScenarioServiceClient(offices)
	s.office, err = New(Deps{Ledger: l, Roster: s.people, Scenarios: s.texts, Logger: rpctest.Silent(), Sessions: s.sessions})
	if err != nil {
		s.t.Fatal(err)
	}
	s.client = drillv1.NewDrillServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { drillv1.RegisterDrillServiceServer(g, s.office) }))
}

func (s *site) reopen() {
	s.t.Helper()
	s.office.Close()
	if err := s.ledger.Close(); err != nil {
		s.t.Fatal(err)
	}
	s.open()
}

func (s *site) check() {
	s.t.Helper()
	report, err := s.ledger.Check(ctx)
	if err != nil || !report.Clean() {
		s.t.Errorf("the ledger is not clean: %v\n%v", err, report)
	}
}

// publish publishes the test's scenario, changed by edit if there is one.
func (s *site) publish(edit func(string) string) *scenariov1.ScenarioVersion {
	s.t.Helper()
	source, err := os.ReadFile("../scenario/testdata/scenario.yaml")
	if err != nil {
		s.t.Fatal(err)
	}
	rubric, err := os.ReadFile("../scenario/testdata/rubric.yaml")
	if err != nil {
		s.t.Fatal(err)
	}
	if edit != nil {
		source = []byte(edit(string(source)))
	}
	resp, err := s.texts.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: fmt.Sprintf("publish-%d", s.ledger.Head().Size), Source: source, RubricSource: rubric})
	if err != nil {
		s.t.Fatalf("%v\n%v", err, fault.From(err).Meta)
	}
	return resp.GetVersion()
}

// drill starts one of ash-1's drills, the same every time.
func (s *site) drill(request string) *drillv1.StartDrillResponse {
	s.t.Helper()
	resp, err := s.client.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: request, PersonId: "ash-1", ScenarioId: "bench-case", Variant: "easier", Seed: 7, Bench: "bench-1"})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

func choose(drill string, index uint32, choice string, elapsed float64) *drillv1.DecideRequest {
	return &drillv1.DecideRequest{RequestId: fmt.Sprintf("%s-%d", drill, index), DrillId: drill, Index: index, ElapsedS: elapsed, What: &drillv1.DecideRequest_Choice{Choice: choice}}
}

func act(drill string, index uint32, elapsed float64, actions ...*drillv1.Action) *drillv1.DecideRequest {
	r := choose(drill, index, "", elapsed)
	r.What = &drillv1.DecideRequest_Free{Free: &drillv1.FreeActions{Actions: actions}}
	return r
}

func say(word string) *drillv1.Action {
	return &drillv1.Action{Verb: "say", Words: map[string]string{"words": word}}
}

func (s *site) decide(req *drillv1.DecideRequest) *drillv1.DecideResponse {
	s.t.Helper()
	resp, err := s.client.Decide(ctx, req)
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

// kinds lists what was recorded about a drill.
func (s *site) kinds(drill string) []string {
	s.t.Helper()
	entries, err := s.ledger.Entries(ctx, 1, 10000)
	if err != nil {
		s.t.Fatal(err)
	}
	var kinds []string
	for _, e := range entries {
		if e.GetSubjectId() == drill {
			kinds = append(kinds, e.GetKind())
		}
	}
	return kinds
}

// Clients that are given and never called.
type (
	rosterClient   = rosterv1.RosterServiceClient
	scenarioClient = scenariov1.ScenarioServiceClient
)
