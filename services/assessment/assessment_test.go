package assessment

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/script"
	"zonule/services/clock"
	"zonule/services/drill"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/roster"
	"zonule/services/rpc/rpctest"
	"zonule/services/scenario"
)

var ctx = context.Background()

// site is a ledger in a folder of its own with every office up to this one; reopen starts all of it anew.
type site struct {
	t      *testing.T
	dir    string
	clock  *clock.Set
	ledger *ledger.Ledger
	office *Server
	client assessmentv1.AssessmentServiceClient
	drills drillv1.DrillServiceClient
	texts  scenariov1.ScenarioServiceClient
}

// start opens a site with the scenario bench-case and the trainee ash-1.
func start(t *testing.T) *site {
	s := &site{t: t, dir: t.TempDir(), clock: clock.NewSet(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))}
	people := s.open()
	t.Cleanup(func() {
		s.check()
		s.ledger.Close()
	})
	s.publish(nil)
	for _, id := range []string{"ash-1", "bay-2"} {
		_, err := people.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "enrol-" + id, PersonId: id, DisplayName: id, Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
		if err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func (s *site) open() rosterv1.RosterServiceClient {
	s.t.Helper()
	must := func(err error) {
		s.t.Helper()
		if err != nil {
			s.t.Fatal(err)
		}
	}
	l, err := ledger.Open(ctx, ledger.Config{Dir: s.dir, Programme: "harbour", Site: "bench-room", Logger: rpctest.Silent(), Clock: s.clock,
		Views: []ledger.View{roster.View(), scenario.View(), drill.View(), View()}})
	must(err)
	s.ledger = l
	people, err := roster.New(roster.Deps{Ledger: l})
	must(err)
	texts, err := scenario.New(scenario.Deps{Ledger: l})
	must(err)
	first := rpctest.Serve(s.t, func(g *grpc.Server) {
		rosterv1.RegisterRosterServiceServer(g, people)
		scenariov1.RegisterScenarioServiceServer(g, texts)
	})
	s.texts = scenariov1.NewScenarioServiceClient(first)
	drills, err := drill.New(drill.Deps{Ledger: l, Roster: rosterv1.NewRosterServiceClient(first), Scenarios: s.texts, Logger: rpctest.Silent()})
	must(err)
	s.drills = drillv1.NewDrillServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { drillv1.RegisterDrillServiceServer(g, drills) }))
	s.office, err = New(Deps{Ledger: l, Drills: s.drills, Scenarios: s.texts, Logger: rpctest.Silent()})
	must(err)
	s.client = assessmentv1.NewAssessmentServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { assessmentv1.RegisterAssessmentServiceServer(g, s.office) }))
	return rosterv1.NewRosterServiceClient(first)
}

func (s *site) reopen() {
	s.t.Helper()
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

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile("../scenario/testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func (s *site) publish(editRubric func(string) string) *scenariov1.ScenarioVersion {
	s.t.Helper()
	rubric := read(s.t, "rubric.yaml")
	if editRubric != nil {
		rubric = editRubric(rubric)
	}
	resp, err := s.texts.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{
		RequestId: fmt.Sprintf("publish-%d", s.ledger.Head().Size), Source: []byte(read(s.t, "scenario.yaml")), RubricSource: []byte(rubric)})
	if err != nil {
		s.t.Fatalf("%v\n%v", err, fault.From(err).Meta)
	}
	return resp.GetVersion()
}

// begin starts a drill and takes the choices, the last of which may end it.
func (s *site) begin(person string, choices ...string) string {
	s.t.Helper()
	begun, err := s.drills.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: fmt.Sprintf("start-%d", s.ledger.Head().Size), PersonId: person, ScenarioId: "bench-case", Variant: "easier", Seed: 7})
	if err != nil {
		s.t.Fatal(err)
	}
	id := begun.GetDrill().GetDrillId()
	for i, choice := range choices {
		_, err := s.drills.Decide(ctx, &drillv1.DecideRequest{RequestId: fmt.Sprintf("%s-%d", id, i), DrillId: id, Index: uint32(i), ElapsedS: 1, What: &drillv1.DecideRequest_Choice{Choice: choice}})
		if err != nil {
			s.t.Fatal(err)
		}
	}
	return id
}

func (s *site) assess(drill string) *assessmentv1.AssessDrillResponse {
	s.t.Helper()
	resp, err := s.client.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "assess-" + drill, DrillId: drill})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

func levels(a *assessmentv1.Assessment) string {
	var out []string
	for _, m := range a.GetMarks() {
		out = append(out, fmt.Sprintf("%s=%d", m.GetCriterion(), m.GetLevel()))
	}
	return strings.Join(out, " ")
}

func TestDepsAreAskedFor(t *testing.T) {
	whole := Deps{Ledger: &ledger.Ledger{}, Drills: struct{ drillv1.DrillServiceClient }{}, Scenarios: struct {
		scenariov1.ScenarioServiceClient
	}{}, Logger: rpctest.Silent()}
	if _, err := New(whole); err != nil {
		t.Errorf("complete: %v", err)
	}
	for name, take := range map[string]func(*Deps){
		"ledger": func(d *Deps) { d.Ledger = nil }, "drills": func(d *Deps) { d.Drills = nil },
		"scenarios": func(d *Deps) { d.Scenarios = nil }, "logger": func(d *Deps) { d.Logger = nil },
	} {
		d := whole
		take(&d)
		if _, err := New(d); err == nil {
			t.Errorf("an office without %s was made", name)
		}
	}
}

func TestAssess(t *testing.T) {
	s := start(t)
	id := s.begin("ash-1", "hold", "fill", "hooks-first")
	timeline, err := s.drills.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: id})
	if err != nil {
		t.Fatal(err)
	}
	size := s.ledger.Head().Size
	first := s.assess(id)
	a := first.GetAssessment()
	if a.GetDrillId() != id || a.GetPersonId() != "ash-1" || a.GetScenarioId() != "bench-case" || a.GetDigest() != script.Digest([]byte(read(t, "scenario.yaml"))) ||
		a.GetRubricDigest() != script.Digest([]byte(read(t, "rubric.yaml"))) || a.GetRubric() != "bench-case, version 1" || a.GetApprovedBy() != "none yet" ||
		a.GetVariant() != "easier" || a.GetEnding() != "held" || !a.GetSafe() || a.GetShownAs() != "Practice list, second place" || a.GetAssessedAt().AsTime() != s.clock.Now() ||
		string(a.GetDrillEntryHash()) != string(timeline.GetEndedEntryHash()) || len(a.GetDrillEntryHash()) != 32 {
		t.Errorf("assessed as %v", a)
	}
	if got := levels(a); got != "C1=5 C2=5 C7=4" || a.GetMeanLevel() != (2*5+5+4)/4.0 || len(a.GetCriticalErrors()) != 0 {
		t.Errorf("levels %s, mean %g, %v", got, a.GetMeanLevel(), a.GetCriticalErrors())
	}
	for _, m := range a.GetMarks() {
		if m.GetTitle() == "" || m.GetAnchor() == "" || m.GetRule() == "" || !strings.HasPrefix(m.GetReason(), "Level") || len(m.GetEvidence()) == 0 || m.GetWeight() == 0 {
			t.Errorf("mark %v", m)
		}
	}
	if diff := cmp.Diff(&ledgerv1.Position{Site: "bench-room", Sequence: size + 1}, first.GetPosition(), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
	got, err := s.client.GetAssessment(ctx, &assessmentv1.GetAssessmentRequest{DrillId: id, AtLeast: first.GetPosition()})
	if diff := cmp.Diff(a, got.GetAssessment(), protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("%v (-answered +got):\n%s", err, diff)
	}
	s.clock.Add(time.Hour)
	s.reopen()
	if again := s.assess(id); !cmp.Equal(first, again, protocmp.Transform()) {
		t.Errorf("the same request again:\n%s", cmp.Diff(first, again, protocmp.Transform()))
	}
	other, err := s.client.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "another", DrillId: id})
	if diff := cmp.Diff(a, other.GetAssessment(), protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("another request: %v (-first +other):\n%s", err, diff)
	}
	if s.ledger.Head().Size != size+1 {
		t.Errorf("%d entries were recorded for one assessment", s.ledger.Head().Size-size)
	}
}

func TestCriticalErrors(t *testing.T) {
	s := start(t)
	begun, err := s.drills.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: "start", PersonId: "ash-1", ScenarioId: "bench-case", Variant: "harder", Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	id := begun.GetDrill().GetDrillId()
	for i, what := range []string{"hold", "clock", "go-on", "ring"} {
		req := &drillv1.DecideRequest{RequestId: what, DrillId: id, Index: uint32(i), ElapsedS: 1, What: &drillv1.DecideRequest_Choice{Choice: what}}
		if what == "clock" {
			req.What = &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
		}
		if resp, err := s.drills.Decide(ctx, req); err != nil {
			t.Fatal(err)
		} else if resp.GetDrill().GetState() == drillv1.DrillState_DRILL_STATE_ENDED {
			break
		}
	}
	a := s.assess(id).GetAssessment()
	if len(a.GetCriticalErrors()) != 1 {
		t.Fatalf("critical errors %v", a.GetCriticalErrors())
	}
	e := a.GetCriticalErrors()[0]
	if e.GetId() != "drove-on" || e.GetTitle() != "drove on" || e.GetDecision() != 2 || e.GetAtS() <= 20 || !slices.Equal(e.GetCaps(), []string{"C1", "C7"}) || e.GetReason() == "" {
		t.Errorf("the critical error is %v", e)
	}
	if m := a.GetMarks()[0]; m.GetLevel() != 1 || m.GetCappedBy() != "drove-on" {
		t.Errorf("C1 is %v", m)
	}
}

func TestAssessRefuses(t *testing.T) {
	s := start(t)
	running := s.begin("ash-1", "hold")
	broken := s.begin("ash-1", "hold")
	if _, err := s.drills.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "break", DrillId: broken, Reason: "x"}); err != nil {
		t.Fatal(err)
	}
	size := s.ledger.Head().Size
	for _, c := range []struct {
		drill, reason string
		code          codes.Code
	}{{running, "DRILL_RUNNING", codes.FailedPrecondition}, {broken, "DRILL_ABANDONED", codes.FailedPrecondition}, {"d-none", "NO_SUCH_DRILL", codes.NotFound}} {
		_, err := s.client.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "r", DrillId: c.drill})
		rpctest.WantFault(t, err, c.code, c.reason)
		_, err = s.client.GetAssessment(ctx, &assessmentv1.GetAssessmentRequest{DrillId: c.drill})
		rpctest.WantFault(t, err, codes.NotFound, "NOT_ASSESSED")
	}
	_, err := s.client.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{DrillId: running})
	rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")
	if s.ledger.Head().Size != size {
		t.Error("refusals were recorded")
	}
}

// A drill is judged by the rubric that was published when it was started.
func TestADrillKeepsItsRubric(t *testing.T) {
	s := start(t)
	old := s.begin("ash-1", "hold", "fill", "hooks-first")
	s.publish(func(text string) string {
		return strings.NewReplacer("version: 1", "version: 2", `5: "chose('hold')`, `5: "chose('turn')`).Replace(text)
	})
	newer := s.begin("ash-1", "hold", "fill", "hooks-first")
	a, b := s.assess(old).GetAssessment(), s.assess(newer).GetAssessment()
	if a.GetRubric() != "bench-case, version 1" || a.GetMarks()[0].GetLevel() != 5 {
		t.Errorf("the older drill: %s, %s", a.GetRubric(), levels(a))
	}
	if b.GetRubric() != "bench-case, version 2" || b.GetMarks()[0].GetLevel() != 3 {
		t.Errorf("the newer drill: %s, %s", b.GetRubric(), levels(b))
	}
}

func TestSweep(t *testing.T) {
	s := start(t)
	var ended []string
	for range 3 {
		ended = append(ended, s.begin("ash-1", "hold", "close-and-refer"))
	}
	s.begin("ash-1", "hold") // runs
	s.assess(ended[1])
	s.reopen()
	if n, err := s.office.Sweep(ctx); n != 2 || err != nil {
		t.Errorf("judged %d, %v", n, err)
	}
	if n, err := s.office.Sweep(ctx); n != 0 || err != nil {
		t.Errorf("a second time judged %d, %v", n, err)
	}
	for _, id := range ended {
		if _, err := s.client.GetAssessment(ctx, &assessmentv1.GetAssessmentRequest{DrillId: id}); err != nil {
			t.Error(err)
		}
	}
	over, cancel := context.WithCancel(ctx)
	cancel()
	s.begin("ash-1", "close-and-refer")
	if _, err := s.office.Sweep(over); err == nil {
		t.Error("a sweep goes on although its time is over")
	}
}

func TestOneDrillJudgedByManyAtOnce(t *testing.T) {
	s := start(t)
	id := s.begin("ash-1", "hold", "close-and-refer")
	size := s.ledger.Head().Size
	answers, errs := make([]*assessmentv1.AssessDrillResponse, 6), make([]error, 6)
	var all sync.WaitGroup
	for i := range answers {
		all.Go(func() {
			answers[i], errs[i] = s.client.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: fmt.Sprint("r", i), DrillId: id})
		})
	}
	all.Wait()
	for i, err := range errs {
		if err != nil || !cmp.Equal(answers[0].GetAssessment(), answers[i].GetAssessment(), protocmp.Transform()) {
			t.Errorf("answer %d: %v, %v", i, answers[i], err)
		}
	}
	if s.ledger.Head().Size != size+1 {
		t.Errorf("%d assessments were recorded", s.ledger.Head().Size-size)
	}
}

func TestAssessmentsInPages(t *testing.T) {
	s := start(t)
	var made []string
	for i := range 7 {
		id := s.begin("ash-1", "close-and-refer")
		s.assess(id)
		made = append(made, id)
		if i%2 == 0 {
			s.clock.Add(time.Minute)
		}
	}
	s.assess(s.begin("bay-2", "close-and-refer"))
	for _, newestFirst := range []bool{false, true} {
		want := slices.Clone(made)
		if newestFirst {
			slices.Reverse(want)
		}
		for _, size := range []int32{1, 3, 7, 50} {
			var got []string
			req := &assessmentv1.ListAssessmentsRequest{PersonId: "ash-1", PageSize: size, NewestFirst: newestFirst}
			for {
				resp, err := s.client.ListAssessments(ctx, req)
				if err != nil {
					t.Fatal(err)
				}
				for _, a := range resp.GetAssessments() {
					got = append(got, a.GetDrillId())
				}
				if req.PageToken = resp.GetNextPageToken(); req.PageToken == "" {
					break
				}
			}
			if !slices.Equal(got, want) {
				t.Errorf("newest first %v, pages of %d: %v, want %v", newestFirst, size, got, want)
			}
		}
	}
	none, err := s.client.ListAssessments(ctx, &assessmentv1.ListAssessmentsRequest{PersonId: "nobody"})
	if err != nil || len(none.GetAssessments()) != 0 {
		t.Errorf("nobody's assessments: %v, %v", none, err)
	}
	_, err = s.client.ListAssessments(ctx, &assessmentv1.ListAssessmentsRequest{PersonId: "ash-1", PageToken: "zz"})
	rpctest.WantFault(t, err, codes.InvalidArgument, "BAD_PAGE_TOKEN")
}
