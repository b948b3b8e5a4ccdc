package scenario

import (
	"context"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/library"
	"zonule/scenarios/script"
	"zonule/services/clock"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc/rpctest"
)

var ctx = context.Background()

// site is a ledger in a folder of its own with the office on it; reopen starts both anew on the same folder.
type site struct {
	t      *testing.T
	dir    string
	clock  *clock.Set
	ledger *ledger.Ledger
	client scenariov1.ScenarioServiceClient
}

func start(t *testing.T) *site {
	s := &site{t: t, dir: t.TempDir(), clock: clock.NewSet(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))}
	s.open()
	t.Cleanup(func() {
		s.check()
		s.ledger.Close()
	})
	return s
}

func (s *site) open() {
	s.t.Helper()
	l, err := ledger.Open(ctx, ledger.Config{Dir: s.dir, Programme: "harbour", Site: "bench-room", Logger: rpctest.Silent(), Clock: s.clock, Views: []ledger.View{View()}})
	if err != nil {
		s.t.Fatal(err)
	}
	office, err := New(Deps{Ledger: l})
	if err != nil {
		s.t.Fatal(err)
	}
	s.ledger = l
	s.client = scenariov1.NewScenarioServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { scenariov1.RegisterScenarioServiceServer(g, office) }))
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

func (s *site) size() uint64 { return s.ledger.Head().Size }

func (s *site) publish(id string, source, rubric []byte) *scenariov1.PublishScenarioResponse {
	s.t.Helper()
	resp, err := s.client.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: id, Source: source, RubricSource: rubric})
	if err != nil {
		s.t.Fatalf("%v\n%v", err, fault.From(err).Meta)
	}
	return resp
}

func texts(t *testing.T) (source, rubric []byte) {
	t.Helper()
	source, err := os.ReadFile("testdata/scenario.yaml")
	if err != nil {
		t.Fatal(err)
	}
	rubric, err = os.ReadFile("testdata/rubric.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return source, rubric
}

func replaced(b []byte, pairs ...string) []byte {
	return []byte(strings.NewReplacer(pairs...).Replace(string(b)))
}

func TestDepsAreAskedFor(t *testing.T) {
	if _, err := New(Deps{}); err == nil {
		t.Error("an office without a ledger was made")
	}
}

func TestPublishAndGet(t *testing.T) {
	s := start(t)
	source, rubric := texts(t)
	resp := s.publish("r1", source, rubric)
	at := timestamppb.New(s.clock.Now())
	want := &scenariov1.ScenarioVersion{
		ScenarioId: "bench-case", Digest: script.Digest(source), RubricDigest: script.Digest(rubric), ShownAs: "Practice list, second place",
		Complication: "zonular dialysis found at chop", Variants: []string{"easier", "harder"}, Evidences: []string{"C1", "C2", "C7"},
		ReviewedBy: "none yet", PublishedAt: at,
	}
	if diff := cmp.Diff(&scenariov1.PublishScenarioResponse{Version: want, Position: &ledgerv1.Position{Site: "bench-room", Sequence: 1}}, resp, protocmp.Transform()); diff != "" {
		t.Errorf("published (-want +got):\n%s", diff)
	}
	s.clock.Add(time.Hour)
	s.reopen()
	again := s.publish("r1", source, rubric)
	if diff := cmp.Diff(resp, again, protocmp.Transform()); diff != "" {
		t.Errorf("the same request after a restart (-first +again):\n%s", diff)
	}
	if other := s.publish("r2", source, rubric); s.size() != 1 || !cmp.Equal(want, other.GetVersion(), protocmp.Transform()) {
		t.Errorf("publishing what is the newest version recorded something: %d entries, %v", s.size(), other)
	}
	want.Source, want.RubricSource = source, rubric
	for _, which := range []*scenariov1.GetScenarioRequest{
		{Which: &scenariov1.GetScenarioRequest_ScenarioId{ScenarioId: "bench-case"}, AtLeast: resp.GetPosition()},
		{Which: &scenariov1.GetScenarioRequest_Digest{Digest: want.GetDigest()}},
		{Which: &scenariov1.GetScenarioRequest_Digest{Digest: want.GetDigest()}, RubricDigest: want.GetRubricDigest()},
	} {
		got, err := s.client.GetScenario(ctx, which)
		if diff := cmp.Diff(want, got.GetVersion(), protocmp.Transform()); err != nil || diff != "" {
			t.Errorf("%v: %v (-want +got):\n%s", which, err, diff)
		}
	}
}

func TestVersions(t *testing.T) {
	s := start(t)
	source, rubric := texts(t)
	newer := replaced(source, "easier", "gentle")
	sharper := replaced(rubric, "version: 1", "version: 2")
	first := s.publish("r1", source, rubric)
	s.publish("r2", newer, rubric)
	s.publish("r3", source, sharper) // the older text is the newest again, with another rubric

	newest, err := s.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_ScenarioId{ScenarioId: "bench-case"}})
	if err != nil || newest.GetVersion().GetDigest() != script.Digest(source) || newest.GetVersion().GetRubricDigest() != script.Digest(sharper) {
		t.Errorf("the newest is %v, %v", newest, err)
	}
	byDigest := func(digest, rubric string) (*scenariov1.ScenarioVersion, error) {
		resp, err := s.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_Digest{Digest: digest}, RubricDigest: rubric})
		return resp.GetVersion(), err
	}
	if v, err := byDigest(script.Digest(source), ""); err != nil || v.GetRubricDigest() != script.Digest(sharper) {
		t.Errorf("the last rubric of the text: %v, %v", v.GetRubricDigest(), err)
	}
	if v, err := byDigest(script.Digest(source), first.GetVersion().GetRubricDigest()); err != nil || string(v.GetRubricSource()) != string(rubric) {
		t.Errorf("the first rubric of the text: %v, %v", v, err)
	}
	if v, err := byDigest(script.Digest(newer), ""); err != nil || !slices.Equal(v.GetVariants(), []string{"gentle", "harder"}) {
		t.Errorf("the other text: %v, %v", v, err)
	}
	_, err = byDigest(script.Digest(newer), script.Digest(sharper))
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_RUBRIC")
	_, err = byDigest(script.Digest(sharper), "")
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_SCENARIO")
	_, err = s.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_ScenarioId{ScenarioId: "no-case"}})
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_SCENARIO")
	_, err = s.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{})
	rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")
}

func TestPublishRefuses(t *testing.T) {
	s := start(t)
	source, rubric := texts(t)
	cases := []struct {
		name           string
		source, rubric []byte
		reason, says   string
	}{
		{"a scenario that is no YAML", []byte("{"), rubric, "SCENARIO_REFUSED", "scenario.yaml:1:"},
		{"an unknown verb", replaced(source, "{rotate: 4 mN.mm}", "{spin: 4 mN.mm}"), rubric, "SCENARIO_REFUSED", "spin"},
		{"a rubric of another scenario", source, replaced(rubric, "scenario: bench-case", "scenario: other"), "RUBRIC_REFUSED", "rubric.yaml:5:"},
		{"a rubric that asks for an unknown choice", source, replaced(rubric, "chose('fill-late')", "chose('fill-lately')"), "RUBRIC_REFUSED", "fill-late"},
		{"a rubric that judges what the scenario does not show", source, replaced(rubric, "  C2:", "  C3:"), "RUBRIC_REFUSED", "C3"},
	}
	for _, c := range cases {
		_, err := s.client.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: "r-" + c.name, Source: c.source, RubricSource: c.rubric})
		rpctest.WantFault(t, err, codes.InvalidArgument, c.reason)
		all := ""
		for _, v := range fault.From(err).Meta {
			all += v + "\n"
		}
		if !strings.Contains(all, c.says) {
			t.Errorf("%s: the metadata do not say %q:\n%s", c.name, c.says, all)
		}
	}
	_, err := s.client.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: "r", Source: source})
	rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")
	if s.size() != 0 {
		t.Errorf("refusals were recorded: %d entries", s.size())
	}
}

func TestTheLargestTextsFit(t *testing.T) {
	s := start(t)
	source, rubric := texts(t)
	pad := func(b []byte, to int) []byte { return append(b, []byte("\n#"+strings.Repeat("x", to-len(b)-2))...) }
	s.publish("r1", pad(source, 256<<10), pad(rubric, 128<<10))
}

func TestScenariosInPages(t *testing.T) {
	s := start(t)
	source, rubric := texts(t)
	var want []string
	for _, id := range []string{"delta", "bravo", "echo", "alpha", "charlie"} {
		s.publish("r-"+id, replaced(source, "id: bench-case", "id: "+id), replaced(rubric, "scenario: bench-case", "scenario: "+id))
		want = append(want, id)
	}
	s.publish("again", replaced(source, "id: bench-case", "id: echo", "easier", "gentle"), replaced(rubric, "scenario: bench-case", "scenario: echo"))
	slices.Sort(want)
	for size := int32(1); size <= 6; size++ {
		var ids []string
		token := ""
		for {
			resp, err := s.client.ListScenarios(ctx, &scenariov1.ListScenariosRequest{PageSize: size, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range resp.GetVersions() {
				ids = append(ids, v.GetScenarioId())
				if len(v.GetSource())+len(v.GetRubricSource()) > 0 {
					t.Errorf("the list carries texts")
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
	_, err := s.client.ListScenarios(ctx, &scenariov1.ListScenariosRequest{PageToken: "bad"})
	rpctest.WantFault(t, err, codes.InvalidArgument, "BAD_PAGE_TOKEN")
}

// Everything in the library can be published, with its rubric.
func TestTheLibraryCanBePublished(t *testing.T) {
	s := start(t)
	items, err := library.All()
	if err != nil || len(items) == 0 {
		t.Fatal(len(items), err)
	}
	for _, item := range items {
		if v := s.publish("library-"+item.ID, item.Text, item.Rubric).GetVersion(); v.GetScenarioId() != item.ID || v.GetNormal() != (v.GetComplication() == "") {
			t.Errorf("%s was published as %v", item.ID, v)
		}
	}
}
