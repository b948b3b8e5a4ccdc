package dashboard

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/fault"
)

// offices stands for all five, over invented people. Its zero value is an empty, undescribed programme.
type offices struct {
	rosterv1.RosterServiceClient
	progressv1.ProgressServiceClient
	assessmentv1.AssessmentServiceClient
	drillv1.DrillServiceClient
	scenariov1.ScenarioServiceClient

	mu        sync.Mutex
	programme *rosterv1.Programme
	members   []*progressv1.CohortMember
	curves    map[string]*progressv1.GetCurveResponse // by person/criterion
	drills    []*drillv1.Drill
	timelines map[string]*drillv1.Timeline
	judged    map[string]*assessmentv1.Assessment
	version   *scenariov1.ScenarioVersion
	down      error // answered to everything when set
}

func (o *offices) lock() func() { o.mu.Lock(); return o.mu.Unlock }

func (o *offices) GetProgramme(context.Context, *rosterv1.GetProgrammeRequest, ...grpc.CallOption) (*rosterv1.GetProgrammeResponse, error) {
	defer o.lock()()
	if o.down != nil {
		return nil, o.down
	}
	if o.programme == nil {
		return nil, fault.New(codes.NotFound, "NO_PROGRAMME", "The programme has not been described yet.")
	}
	return &rosterv1.GetProgrammeResponse{Programme: o.programme}, nil
}

func (o *offices) member(id string) *progressv1.CohortMember {
	for _, m := range o.members {
		if m.GetPersonId() == id {
			return m
		}
	}
	return nil
}

var errNoPerson = fault.New(codes.NotFound, "NO_SUCH_PERSON", "Nobody on the roster has that id.")

func (o *offices) GetPerson(_ context.Context, r *rosterv1.GetPersonRequest, _ ...grpc.CallOption) (*rosterv1.GetPersonResponse, error) {
	defer o.lock()()
	m := o.member(r.GetPersonId())
	if m == nil {
		return nil, errNoPerson
	}
	return &rosterv1.GetPersonResponse{Person: &rosterv1.Person{PersonId: m.GetPersonId(), DisplayName: m.GetDisplayName()}}, o.down
}

func (o *offices) GetTrainee(_ context.Context, r *progressv1.GetTraineeRequest, _ ...grpc.CallOption) (*progressv1.GetTraineeResponse, error) {
	defer o.lock()()
	if o.down != nil {
		return nil, o.down
	}
	m := o.member(r.GetPersonId())
	if m == nil {
		return nil, errNoPerson
	}
	return &progressv1.GetTraineeResponse{Member: m}, nil
}

func (o *offices) GetCurve(_ context.Context, r *progressv1.GetCurveRequest, _ ...grpc.CallOption) (*progressv1.GetCurveResponse, error) {
	defer o.lock()()
	if c := o.curves[r.GetPersonId()+"/"+r.GetCriterion()]; c != nil {
		return c, o.down
	}
	return &progressv1.GetCurveResponse{PersonId: r.GetPersonId(), Criterion: r.GetCriterion(), StandardLevel: 3}, o.down
}

func (o *offices) ListCohort(_ context.Context, r *progressv1.ListCohortRequest, _ ...grpc.CallOption) (*progressv1.ListCohortResponse, error) {
	defer o.lock()()
	if o.down != nil {
		return nil, o.down
	}
	out := &progressv1.ListCohortResponse{}
	for _, m := range o.members {
		if m.GetPersonId() <= r.GetPageToken() {
			continue
		}
		if len(out.Members) == int(r.GetPageSize()) {
			out.NextPageToken = out.Members[len(out.Members)-1].GetPersonId()
			break
		}
		out.Members = append(out.Members, m)
	}
	return out, nil
}

func (o *offices) drill(id string) *drillv1.Drill {
	for _, d := range o.drills {
		if d.GetDrillId() == id {
			return d
		}
	}
	return nil
}

func (o *offices) GetDrill(_ context.Context, r *drillv1.GetDrillRequest, _ ...grpc.CallOption) (*drillv1.GetDrillResponse, error) {
	defer o.lock()()
	d := o.drill(r.GetDrillId())
	if d == nil {
		return nil, fault.New(codes.NotFound, "NO_SUCH_DRILL", "There is no drill with that id.")
	}
	return &drillv1.GetDrillResponse{Drill: d}, o.down
}

func (o *offices) ListDrills(_ context.Context, r *drillv1.ListDrillsRequest, _ ...grpc.CallOption) (*drillv1.ListDrillsResponse, error) {
	defer o.lock()()
	out := &drillv1.ListDrillsResponse{}
	for _, d := range o.drills {
		if d.GetPersonId() == r.GetPersonId() {
			out.Drills = append(out.Drills, d)
		}
	}
	return out, o.down
}

func (o *offices) GetTimeline(_ context.Context, r *drillv1.GetTimelineRequest, _ ...grpc.CallOption) (*drillv1.GetTimelineResponse, error) {
	defer o.lock()()
	return &drillv1.GetTimelineResponse{Drill: o.drill(r.GetDrillId()), Timeline: o.timelines[r.GetDrillId()]}, o.down
}

func (o *offices) GetAssessment(_ context.Context, r *assessmentv1.GetAssessmentRequest, _ ...grpc.CallOption) (*assessmentv1.GetAssessmentResponse, error) {
	defer o.lock()()
	a := o.judged[r.GetDrillId()]
	if a == nil {
		return nil, fault.New(codes.NotFound, "NOT_ASSESSED", "This drill has not been assessed.")
	}
	return &assessmentv1.GetAssessmentResponse{Assessment: a}, o.down
}

func (o *offices) GetScenario(context.Context, *scenariov1.GetScenarioRequest, ...grpc.CallOption) (*scenariov1.GetScenarioResponse, error) {
	defer o.lock()()
	if o.version == nil {
		return nil, fault.New(codes.NotFound, "NO_SUCH_SCENARIO", "There is no such scenario.")
	}
	return &scenariov1.GetScenarioResponse{Version: o.version}, o.down
}

// fakeFeed gives the entries that are pushed.
type fakeFeed struct{ entries chan *ledgerv1.Entry }

func newFakeFeed() *fakeFeed { return &fakeFeed{entries: make(chan *ledgerv1.Entry)} }

func (f *fakeFeed) Follow(ctx context.Context, kinds []string, give func(*ledgerv1.Entry)) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case e := <-f.entries:
			for _, k := range kinds {
				if k == e.GetKind() {
					give(e)
				}
			}
		}
	}
}

func assessedEntry(t testing.TB, person, drill string) *ledgerv1.Entry {
	t.Helper()
	payload, err := anypb.New(&assessmentv1.DrillAssessed{Assessment: &assessmentv1.Assessment{DrillId: drill, PersonId: person}})
	if err != nil {
		t.Fatal(err)
	}
	return &ledgerv1.Entry{Kind: kindAssessed, SubjectId: drill, Payload: payload}
}

func newPages(t testing.TB, o *offices, feed Feed) *Pages {
	t.Helper()
	p, err := New(Deps{Roster: o, Progress: o, Assessment: o, Drill: o, Scenario: o, Feed: feed, Log: slog.New(slog.NewTextHandler(testOut{t}, nil))})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p
}

// serve puts the pages on a server. The pages are closed first: open event streams end only then.
func serve(t testing.TB, o *offices, feed Feed) *httptest.Server {
	t.Helper()
	p := newPages(t, o, feed)
	s := httptest.NewServer(p)
	t.Cleanup(func() { p.Close(); s.Close() })
	return s
}

// testOut shows the log of a failing test. Nothing may be logged after the test, so the pages are closed by then.
type testOut struct{ t testing.TB }

func (o testOut) Write(b []byte) (int, error) { o.t.Logf("log: %s", b); return len(b), nil }

var firstDay = time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC)

func day(n int) *timestamppb.Timestamp { return timestamppb.New(firstDay.AddDate(0, 0, n)) }

// series makes an invented curve of n drills: levels that approach a plateau, with a repeating scatter. The chart is
// computed as the contract describes it; the fit is the curve the levels were made from, with an invented band.
func series(person, criterion string, n int, gap float64, criticalAt ...int) *progressv1.GetCurveResponse {
	out := &progressv1.GetCurveResponse{PersonId: person, Criterion: criterion, StandardLevel: 3}
	scatter := []float64{0.1, -0.5, 0.4, 0.9, -0.6, 0.2, -1.1, 0.6, 0, 0.3}
	up, down := math.Log(0.9/0.75), math.Log(0.1/0.25)
	var score float64
	var met uint32
	chart := &progressv1.Chart{AdequateRate: 0.1, InadequateRate: 0.25, Limit: 1.25, Horizon: 50, FalseSignal: 0.891, TrueSignal: 0.999}
	fit := &progressv1.Fit{Plateau: 4.3, PlateauSe: 0.21, Gap: gap, GapSe: 0.4, Rate: 0.18, RateSe: 0.06, ResidualSd: 0.61, Confidence: 0.95}
	for i := 1; i <= n; i++ {
		mean := 4.3 - gap*math.Exp(-0.18*float64(i-1))
		level := int32(math.Min(5, math.Max(1, math.Round(mean+scatter[(i*7)%10]))))
		p := &progressv1.Point{Number: uint32(i), DrillId: fmt.Sprintf("%s-d%02d", person, i), ScenarioId: "weak-sector-at-chop", Variant: "usual", Level: level, Meets: level >= 3, At: day(3 * i)}
		for _, c := range criticalAt {
			if c == i {
				p.Level, p.Meets, p.CriticalErrors = 2, false, []string{"pulled-with-suction-on"}
			}
		}
		if p.Meets {
			met++
			score += up
		} else {
			score = math.Max(0, score+down)
		}
		chart.Path = append(chart.Path, score)
		if score >= chart.Limit && chart.SignalAt == 0 {
			chart.SignalAt = uint32(i)
		}
		half := 0.25 + 0.5/float64(i)
		fit.Band = append(fit.Band, &progressv1.Band{Number: float64(i), Level: mean, Low: mean - half, High: mean + half})
		out.Points = append(out.Points, p)
	}
	share := float64(met) / float64(n)
	out.Interval = &progressv1.Interval{Met: met, Of: uint32(n), Confidence: 0.95, ExactLow: math.Max(0, share-0.2), ExactHigh: math.Min(1, share+0.18), WilsonLow: math.Max(0, share-0.18), WilsonHigh: math.Min(1, share+0.16)}
	out.Chart, out.Fit = chart, fit
	if n < 6 {
		out.Fit = &progressv1.Fit{NotYet: fmt.Sprintf("%d drills are too few to fit a curve; at least 6 are needed.", n)}
	}
	return out
}

// standing is what a trainee's row says of a series.
func standing(c *progressv1.GetCurveResponse) *progressv1.Standing {
	last := c.GetPoints()[len(c.GetPoints())-1]
	var critical uint32
	for _, p := range c.GetPoints() {
		critical += uint32(len(p.GetCriticalErrors()))
	}
	return &progressv1.Standing{Criterion: c.GetCriterion(), Shown: c.GetInterval().GetOf(), LastLevel: last.GetLevel(), Met: c.GetInterval().GetMet(), CriticalErrors: critical, LastAt: last.GetAt(), SignalAt: c.GetChart().GetSignalAt()}
}
