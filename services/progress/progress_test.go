package progress

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"zonule/assessor/cusum"
	"zonule/assessor/rubric"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/clock"
	"zonule/services/ledger"
	"zonule/services/roster"
	"zonule/services/rpc/rpctest"
)

var ctx = context.Background()

// site is a ledger in a folder of its own with the roster and this office; assessments are put into it as events.
type site struct {
	t        testing.TB
	dir      string
	clock    *clock.Set
	settings Settings
	ledger   *ledger.Ledger
	people   rosterv1.RosterServiceClient
	client   progressv1.ProgressServiceClient
	drills   int
}

func start(t testing.TB, people ...string) *site {
	s := &site{t: t, dir: t.TempDir(), clock: clock.NewSet(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)), settings: DefaultSettings()}
	s.open()
	t.Cleanup(func() {
		s.check()
		s.ledger.Close()
	})
	for _, id := range people {
		s.enrol(id, rosterv1.Role_ROLE_TRAINEE)
	}
	return s
}

func (s *site) open() {
	s.t.Helper()
	must := func(err error) {
		s.t.Helper()
		if err != nil {
			s.t.Fatal(err)
		}
	}
	folded, err := View(s.settings)
	must(err)
	s.ledger, err = ledger.Open(ctx, ledger.Config{Dir: s.dir, Programme: "harbour", Site: "bench-room", Logger: rpctest.Silent(), Clock: s.clock,
		Views: []ledger.View{roster.View(), folded}})
	must(err)
	people, err := roster.New(roster.Deps{Ledger: s.ledger})
	must(err)
	s.people = rosterv1.NewRosterServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { rosterv1.RegisterRosterServiceServer(g, people) }))
	office, err := New(Deps{Ledger: s.ledger, Roster: s.people, Settings: s.settings})
	must(err)
	s.client = progressv1.NewProgressServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { progressv1.RegisterProgressServiceServer(g, office) }))
}

func (s *site) check() {
	s.t.Helper()
	report, err := s.ledger.Check(ctx)
	if err != nil || !report.Clean() {
		s.t.Errorf("the ledger is not clean: %v\n%v", err, report)
	}
}

func (s *site) enrol(id string, role rosterv1.Role) {
	s.t.Helper()
	_, err := s.people.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "enrol-" + id, PersonId: id, DisplayName: "Trainee " + id, Roles: []rosterv1.Role{role}})
	if err != nil {
		s.t.Fatal(err)
	}
}

// assessed records an assessment of one of the person's drills: levels by criterion, 0 for not shown, and the criteria
// that a critical error caps.
func (s *site) assessed(person string, levels map[string]int32, caps ...string) *ledgerv1.Position {
	s.t.Helper()
	s.drills++
	a := &assessmentv1.Assessment{DrillId: fmt.Sprintf("d-%d", s.drills), PersonId: person, ScenarioId: "bench-case", Variant: "easier"}
	for _, c := range []string{"C1", "C2", "C3", "C4", "C5", "C6", "C7", "C8", "C9", "C10"} {
		if level, ok := levels[c]; ok {
			a.Marks = append(a.Marks, &assessmentv1.Mark{Criterion: c, Title: "title of " + c, Level: level})
		}
	}
	if len(caps) > 0 {
		a.CriticalErrors = []*assessmentv1.CriticalError{{Id: "drove-on", Caps: caps}}
	}
	receipt, err := s.ledger.Append(ctx, ledger.Command{Actor: "test", Decide: func(ledger.Reader) ([]ledger.Event, error) {
		return []ledger.Event{{Subject: a.GetDrillId(), Payload: &assessmentv1.DrillAssessed{Assessment: a}}}, nil
	}})
	if err != nil {
		s.t.Fatal(err)
	}
	return receipt.Position
}

func (s *site) series(person, criterion string, levels ...int32) {
	for _, l := range levels {
		s.assessed(person, map[string]int32{criterion: l})
	}
}

func (s *site) curve(person, criterion string) *progressv1.GetCurveResponse {
	s.t.Helper()
	resp, err := s.client.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: person, Criterion: criterion})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

func (s *site) trainee(person string) *progressv1.CohortMember {
	s.t.Helper()
	resp, err := s.client.GetTrainee(ctx, &progressv1.GetTraineeRequest{PersonId: person})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp.GetMember()
}

func TestDepsAndSettingsAreChecked(t *testing.T) {
	whole := Deps{Ledger: &ledger.Ledger{}, Roster: struct{ rosterv1.RosterServiceClient }{}, Settings: DefaultSettings()}
	if _, err := New(whole); err != nil {
		t.Errorf("complete: %v", err)
	}
	for name, spoil := range map[string]func(*Deps){
		"no ledger": func(d *Deps) { d.Ledger = nil }, "no roster": func(d *Deps) { d.Roster = nil }, "no settings": func(d *Deps) { d.Settings = Settings{} },
		"rates the wrong way round":   func(d *Deps) { d.Settings.AdequateRate = 0.5 },
		"a level nobody can miss":     func(d *Deps) { d.Settings.StandardLevel = 1 },
		"a level nobody can reach":    func(d *Deps) { d.Settings.StandardLevel = 6 },
		"a confidence in per cent":    func(d *Deps) { d.Settings.Confidence = 95 },
		"too few drills for a signal": func(d *Deps) { d.Settings.Horizon = 2 },
	} {
		d := whole
		spoil(&d)
		if _, err := New(d); err == nil {
			t.Errorf("%s: an office was made", name)
		}
		if _, err := View(d.Settings); err == nil && d.Settings != whole.Settings {
			t.Errorf("%s: a view was made", name)
		}
	}
}

func TestASeriesOfOneCompetency(t *testing.T) {
	s := start(t, "ash-1", "bay-2")
	s.series("ash-1", "C2", 2, 3)
	s.clock.Add(time.Hour)
	s.assessed("ash-1", map[string]int32{"C1": 5, "C2": 4}, "C2", "C9")
	s.assessed("ash-1", map[string]int32{"C1": 4, "C2": 0})
	s.assessed("bay-2", map[string]int32{"C2": 1})
	first, later := timestamppb.New(s.clock.Now().Add(-time.Hour)), timestamppb.New(s.clock.Now())

	got := s.curve("ash-1", "C2")
	point := func(number uint32, drill string, level int32, meets bool, at *timestamppb.Timestamp, errors ...string) *progressv1.Point {
		return &progressv1.Point{Number: number, DrillId: drill, ScenarioId: "bench-case", Variant: "easier", Level: level, Meets: meets, At: at, CriticalErrors: errors}
	}
	want := []*progressv1.Point{point(1, "d-1", 2, false, first), point(2, "d-2", 3, true, first), point(3, "d-3", 4, false, later, "drove-on")}
	if diff := cmp.Diff(want, got.GetPoints(), protocmp.Transform()); diff != "" {
		t.Errorf("points (-want +got):\n%s", diff)
	}
	if got.GetStandardLevel() != 3 || got.GetTitle() != rubric.TheStandard().Criterion("C2").Name {
		t.Errorf("%q at level %d", got.GetTitle(), got.GetStandardLevel())
	}
	member := s.trainee("ash-1")
	wantRow := &progressv1.CohortMember{PersonId: "ash-1", DisplayName: "Trainee ash-1", Row: &progressv1.TraineeRow{
		PersonId: "ash-1", Drills: 4, CriticalErrors: 1, LastAt: later,
		Standings: []*progressv1.Standing{
			{Criterion: "C1", Title: "title of C1", Shown: 2, LastLevel: 4, Met: 2, LastAt: later},
			{Criterion: "C2", Title: "title of C2", Shown: 3, LastLevel: 4, Met: 1, CriticalErrors: 1, LastAt: later},
		},
	}}
	if diff := cmp.Diff(wantRow, member, protocmp.Transform()); diff != "" {
		t.Errorf("trainee (-want +got):\n%s", diff)
	}
}

func TestCompetenciesStandInTheirOrder(t *testing.T) {
	s := start(t, "ash-1")
	for _, c := range []string{"C10", "C2", "C9", "C1"} {
		s.series("ash-1", c, 3)
	}
	var order []string
	for _, standing := range s.trainee("ash-1").GetRow().GetStandings() {
		order = append(order, standing.GetCriterion())
	}
	if !slices.Equal(order, []string{"C1", "C2", "C9", "C10"}) {
		t.Errorf("in order %v", order)
	}
	if s.series("ash-1", "C1", 4); len(s.curve("ash-1", "C1").GetPoints()) != 2 || len(s.curve("ash-1", "C10").GetPoints()) != 1 {
		t.Error("the series of C1 and C10 run into each other")
	}
}

// 8 of 10: exact limits 0.4439 and 0.9748, Wilson's 0.4902 and 0.9433 (Brown, Cai and DasGupta 2001 and any table of the
// Clopper-Pearson limits; computed to more places from the defining equations).
func TestInterval(t *testing.T) {
	s := start(t, "ash-1", "bay-2")
	s.series("ash-1", "C1", 3, 3, 2, 3, 4, 5, 1, 3, 3, 3)
	i := s.curve("ash-1", "C1").GetInterval()
	for _, c := range []struct {
		name      string
		got, want float64
	}{{"exact low", i.GetExactLow(), 0.4439}, {"exact high", i.GetExactHigh(), 0.9748}, {"wilson low", i.GetWilsonLow(), 0.4902}, {"wilson high", i.GetWilsonHigh(), 0.9433}} {
		if math.Abs(c.got-c.want) > 5e-5 {
			t.Errorf("%s: %.5f, want %.4f", c.name, c.got, c.want)
		}
	}
	if i.GetMet() != 8 || i.GetOf() != 10 || i.GetConfidence() != 0.95 {
		t.Errorf("interval %v", i)
	}
	none := s.curve("bay-2", "C1")
	if none.GetInterval() != nil || len(none.GetPoints()) != 0 || none.GetChart().GetLimit() <= 0 || !strings.HasPrefix(none.GetFit().GetNotYet(), "not enough yet: 6 more drills") {
		t.Errorf("without a drill: %v", none)
	}
}

func TestFit(t *testing.T) {
	s := start(t, "ash-1", "bay-2")
	s.series("ash-1", "C1", 1, 2, 3)
	if f := s.curve("ash-1", "C1").GetFit(); !strings.HasPrefix(f.GetNotYet(), "not enough yet: 3 more drills") || f.GetPlateau() != 0 || len(f.GetBand()) != 0 {
		t.Errorf("after three drills: %v", f)
	}
	// Levels that follow 4.6 - 3.4 exp(-0.35 x), rounded.
	var levels []int32
	for x := range 70 {
		levels = append(levels, int32(math.Round(4.6-3.4*math.Exp(-0.35*float64(x)))))
	}
	levels[30], levels[40], levels[50] = 4, 4, 4
	s.series("bay-2", "C1", levels...)
	f := s.curve("bay-2", "C1").GetFit()
	if f.GetNotYet() != "" || math.Abs(f.GetPlateau()-4.9) > 0.2 || f.GetGap() < 2 || f.GetRate() < 0.1 || f.GetPlateauSe() <= 0 || f.GetConfidence() != 0.95 {
		t.Fatalf("after seventy drills: %v", f)
	}
	band := f.GetBand()
	if len(band) != mostBand || band[0].GetNumber() != 1 || band[len(band)-1].GetNumber() != 70 {
		t.Errorf("the band runs over %d drills, from %v to %v", len(band), band[0], band[len(band)-1])
	}
	for _, b := range band {
		if want := f.GetPlateau() - f.GetGap()*math.Exp(-f.GetRate()*(b.GetNumber()-1)); math.Abs(b.GetLevel()-want) > 1e-9 || b.GetLow() >= b.GetLevel() || b.GetHigh() <= b.GetLevel() {
			t.Errorf("band %v, the curve is at %g", b, want)
		}
	}
}

// The signal kept with the row is the one the chart shows, after every drill of a series that signals and of one that
// never does.
func TestChartAndSignal(t *testing.T) {
	s := start(t, "ash-1", "bay-2")
	chart, err := cusum.Limit(0.15, 0.40, 30, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	outcomes := map[string][]int32{"ash-1": {1, 3, 3, 4, 2, 3, 4, 5, 3, 3, 4, 4, 3, 4, 3, 5, 4, 4}, "bay-2": {3, 1, 3, 1, 3, 1, 3, 1, 3, 1}}
	signalled := false
	for person, levels := range outcomes {
		var missed []bool
		for _, level := range levels {
			s.series(person, "C4", level)
			missed = append(missed, level < 3)
			want := chart.Follow(missed)
			got := s.curve(person, "C4").GetChart()
			if !slices.Equal(got.GetPath(), want.Scores) || got.GetSignalAt() != uint32(want.Signal) {
				t.Errorf("%s after %d drills: path %v signal %d, want %v", person, len(missed), got.GetPath(), got.GetSignalAt(), want)
			}
			if kept := s.trainee(person).GetRow().GetStandings()[0].GetSignalAt(); kept != uint32(want.Signal) {
				t.Errorf("%s after %d drills: the row says %d, the chart %d", person, len(missed), kept, want.Signal)
			}
			signalled = signalled || want.Signal > 0
		}
		got := s.curve(person, "C4").GetChart()
		if got.GetLimit() != chart.H || got.GetHorizon() != 30 || got.GetFalseSignal() > 0.05 || got.GetFalseSignal() != chart.FalseSignal || got.GetTrueSignal() != chart.TrueSignal || got.GetAdequateRate() != 0.15 || got.GetInadequateRate() != 0.40 {
			t.Errorf("the chart is %v, want %v", got, chart)
		}
	}
	if !signalled {
		t.Error("no series signalled: the test shows too little")
	}
}

// Other settings fold the assessments anew.
func TestOtherSettingsFoldAnew(t *testing.T) {
	s := start(t, "ash-1")
	s.series("ash-1", "C1", 3, 3, 4, 4, 3)
	if met := s.trainee("ash-1").GetRow().GetStandings()[0].GetMet(); met != 5 {
		t.Errorf("%d met level 3", met)
	}
	if err := s.ledger.Close(); err != nil {
		t.Fatal(err)
	}
	s.settings.StandardLevel = 4
	s.open()
	if met := s.trainee("ash-1").GetRow().GetStandings()[0].GetMet(); met != 2 {
		t.Errorf("%d met level 4", met)
	}
	if got := s.curve("ash-1", "C1"); got.GetStandardLevel() != 4 || got.GetInterval().GetMet() != 2 || got.GetPoints()[0].GetMeets() {
		t.Errorf("the curve is %v", got)
	}
}

func TestProgressRefuses(t *testing.T) {
	s := start(t, "ash-1")
	_, err := s.client.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: "nobody", Criterion: "C1"})
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_PERSON")
	_, err = s.client.GetTrainee(ctx, &progressv1.GetTraineeRequest{PersonId: "nobody"})
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_PERSON")
	for _, criterion := range []string{"", "C0", "C11", "c1", "C1 "} {
		_, err = s.client.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: "ash-1", Criterion: criterion})
		rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")
	}
	_, err = s.client.ListCohort(ctx, &progressv1.ListCohortRequest{PageToken: "zz"})
	rpctest.WantFault(t, err, codes.InvalidArgument, "BAD_PAGE_TOKEN")
	_, err = s.client.ListCohort(ctx, &progressv1.ListCohortRequest{PageSize: 201})
	rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")
}

// The cohort stands in order of ids whatever was reached, with everyone in it who is a trainee.
func TestCohortInPages(t *testing.T) {
	s := start(t)
	var want []string
	for _, i := range []int{5, 2, 9, 0, 7, 1, 8, 3, 6, 4} {
		s.enrol(fmt.Sprintf("trainee-%d", i), rosterv1.Role_ROLE_TRAINEE)
		s.enrol(fmt.Sprintf("staff-%d", i), rosterv1.Role_ROLE_SUPERVISOR)
	}
	for i := range 10 {
		want = append(want, fmt.Sprintf("trainee-%d", i))
		if i%2 == 0 {
			s.series(want[i], "C1", int32(i/2+1))
		}
	}
	at := s.assessed("trainee-9", map[string]int32{"C1": 5})
	if err := s.ledger.Erase("trainee-3"); err != nil {
		t.Fatal(err)
	}
	for _, size := range []int32{1, 3, 10, 200} {
		var ids []string
		token := ""
		for {
			resp, err := s.client.ListCohort(ctx, &progressv1.ListCohortRequest{PageSize: size, PageToken: token, AtLeast: at})
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range resp.GetMembers() {
				ids = append(ids, m.GetPersonId())
				if m.GetPersonId() != m.GetRow().GetPersonId() || (m.GetDisplayName() == "") != (m.GetPersonId() == "trainee-3") {
					t.Errorf("member %v", m)
				}
			}
			if token = resp.GetNextPageToken(); token == "" {
				break
			}
		}
		if !slices.Equal(ids, want) {
			t.Errorf("in pages of %d: %v", size, ids)
		}
	}
}
