package roster

import (
	"context"
	"fmt"
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
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/clock"
	"zonule/services/ledger"
	"zonule/services/rpc"
	"zonule/services/rpc/rpctest"
)

var ctx = context.Background()

// site is a ledger in a folder of its own with the office on it; reopen starts both anew on the same folder.
type site struct {
	t      *testing.T
	dir    string
	ledger *ledger.Ledger
	client rosterv1.RosterServiceClient
}

func start(t *testing.T) *site {
	s := &site{t: t, dir: t.TempDir()}
	s.open()
	t.Cleanup(func() {
		s.check()
		s.ledger.Close()
	})
	return s
}

func (s *site) open() {
	s.t.Helper()
	l, err := ledger.Open(ctx, ledger.Config{Dir: s.dir, Programme: "harbour", Site: "bench-room", Logger: rpctest.Silent(),
		Clock: clock.NewSet(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)), Views: []ledger.View{View()}})
	if err != nil {
		s.t.Fatal(err)
	}
	office, err := New(Deps{Ledger: l})
	if err != nil {
		s.t.Fatal(err)
	}
	s.ledger = l
	s.client = rosterv1.NewRosterServiceClient(rpctest.Serve(s.t, func(g *grpc.Server) { rosterv1.RegisterRosterServiceServer(g, office) }))
}

func (s *site) reopen() {
	s.t.Helper()
	if err := s.ledger.Close(); err != nil {
		s.t.Fatal(err)
	}
	s.open()
}

func (s *site) kinds() []string {
	s.t.Helper()
	entries, err := s.ledger.Entries(ctx, 1, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	var kinds []string
	for _, e := range entries {
		kinds = append(kinds, e.GetKind()+" "+e.GetSubjectId())
	}
	return kinds
}

func (s *site) enrol(id, name string, roles ...rosterv1.Role) *rosterv1.EnrolPersonResponse {
	s.t.Helper()
	resp, err := s.client.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "enrol-" + id, PersonId: id, DisplayName: name, Roles: roles})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

const (
	trainee    = rosterv1.Role_ROLE_TRAINEE
	supervisor = rosterv1.Role_ROLE_SUPERVISOR
)

func TestDepsAreAskedFor(t *testing.T) {
	if _, err := New(Deps{}); err == nil {
		t.Error("an office without a ledger was made")
	}
}

func TestProgramme(t *testing.T) {
	s := start(t)
	_, err := s.client.GetProgramme(ctx, &rosterv1.GetProgrammeRequest{})
	rpctest.WantFault(t, err, codes.NotFound, "NO_PROGRAMME")
	_, err = s.client.DescribeProgramme(ctx, &rosterv1.DescribeProgrammeRequest{RequestId: "r0"})
	rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED")

	first := &rosterv1.DescribeProgrammeRequest{RequestId: "r1", Name: "Harbour programme", Invented: true}
	resp, err := s.client.DescribeProgramme(ctx, first)
	if err != nil {
		t.Fatal(err)
	}
	want := &rosterv1.DescribeProgrammeResponse{Programme: &rosterv1.Programme{Name: "Harbour programme", Invented: true},
		Position: &ledgerv1.Position{Site: "bench-room", Sequence: 1}}
	if diff := cmp.Diff(want, resp, protocmp.Transform()); diff != "" {
		t.Errorf("described (-want +got):\n%s", diff)
	}
	for _, again := range []*rosterv1.DescribeProgrammeRequest{first, {RequestId: "r2", Name: "Harbour programme", Invented: true}} {
		if got, err := s.client.DescribeProgramme(ctx, again); err != nil || !cmp.Equal(want, got, protocmp.Transform()) {
			t.Errorf("said again as %s: %v, %v", again.GetRequestId(), got, err)
		}
	}
	_, err = s.client.DescribeProgramme(ctx, &rosterv1.DescribeProgrammeRequest{RequestId: "r1", Name: "Another"})
	rpctest.WantFault(t, err, codes.AlreadyExists, "REQUEST_ID_REUSED")
	if _, err := s.client.DescribeProgramme(ctx, &rosterv1.DescribeProgrammeRequest{RequestId: "r3", Name: "Harbour and hills"}); err != nil {
		t.Fatal(err)
	}
	s.reopen()
	got, err := s.client.GetProgramme(ctx, &rosterv1.GetProgrammeRequest{AtLeast: &ledgerv1.Position{Site: "bench-room", Sequence: 2}})
	if err != nil || got.GetProgramme().GetName() != "Harbour and hills" || got.GetProgramme().GetInvented() {
		t.Errorf("the last description does not hold: %v, %v", got, err)
	}
	if diff := cmp.Diff([]string{"ProgrammeDescribed programme", "ProgrammeDescribed programme"}, s.kinds()); diff != "" {
		t.Errorf("recorded (-want +got):\n%s", diff)
	}
}

func TestEnrol(t *testing.T) {
	s := start(t)
	request := &rosterv1.EnrolPersonRequest{RequestId: "r1", PersonId: "fern-2", DisplayName: "Fern Example", Roles: []rosterv1.Role{supervisor, trainee}}
	first, err := s.client.EnrolPerson(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	want := &rosterv1.EnrolPersonResponse{
		Person: &rosterv1.Person{PersonId: "fern-2", DisplayName: "Fern Example", Roles: []rosterv1.Role{trainee, supervisor},
			EnrolledAt: timestamppb.New(time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC))},
		Position: &ledgerv1.Position{Site: "bench-room", Sequence: 1},
	}
	if diff := cmp.Diff(want, first, protocmp.Transform()); diff != "" {
		t.Errorf("enrolled (-want +got):\n%s", diff)
	}
	s.reopen()
	again, err := s.client.EnrolPerson(ctx, request)
	if err != nil || !cmp.Equal(want, again, protocmp.Transform()) {
		t.Errorf("the same request after a restart: %v, %v", again, err)
	}
	_, err = s.client.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "r2", PersonId: "fern-2", DisplayName: "Somebody Else", Roles: []rosterv1.Role{trainee}})
	rpctest.WantFault(t, err, codes.AlreadyExists, "PERSON_EXISTS")
	if got, err := s.client.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: "fern-2"}); err != nil || got.GetPerson().GetDisplayName() != "Fern Example" {
		t.Errorf("a refused enrolment changed the name: %v, %v", got, err)
	}
	if _, err := s.client.EnrolPerson(rpc.As(ctx, "another"), &rosterv1.EnrolPersonRequest{RequestId: "r1", PersonId: "moss", DisplayName: "Moss Example", Roles: []rosterv1.Role{trainee}}); err != nil {
		t.Errorf("another actor's request id is its own: %v", err)
	}
	entries, err := s.ledger.Entries(ctx, 1, 10)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if b := string(e.GetPayload().GetValue()); len(b) == 0 || slices.ContainsFunc([]string{"Fern", "Example", "Moss Ex"}, func(w string) bool { return strings.Contains(b, w) }) {
			t.Errorf("entry %d carries a name", e.GetSequence())
		}
	}
}

func TestEnrolRefuses(t *testing.T) {
	s := start(t)
	for name, bad := range map[string]*rosterv1.EnrolPersonRequest{
		"no request id":    {PersonId: "ok-id", DisplayName: "A", Roles: []rosterv1.Role{trainee}},
		"an id with space": {RequestId: "r", PersonId: "no id", DisplayName: "A", Roles: []rosterv1.Role{trainee}},
		"no name":          {RequestId: "r", PersonId: "ok-id", Roles: []rosterv1.Role{trainee}},
		"no role":          {RequestId: "r", PersonId: "ok-id", DisplayName: "A"},
		"a role twice":     {RequestId: "r", PersonId: "ok-id", DisplayName: "A", Roles: []rosterv1.Role{trainee, trainee}},
		"an unknown role":  {RequestId: "r", PersonId: "ok-id", DisplayName: "A", Roles: []rosterv1.Role{77}},
	} {
		_, err := s.client.EnrolPerson(ctx, bad)
		if t.Run(name, func(t *testing.T) { rpctest.WantFault(t, err, codes.InvalidArgument, "REQUEST_REFUSED") }); err == nil {
			return
		}
	}
	if got := s.kinds(); len(got) != 0 {
		t.Errorf("refusals were recorded: %v", got)
	}
	_, err := s.client.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: "nobody"})
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_PERSON")
}

func TestAnErasedPersonHasNoName(t *testing.T) {
	s := start(t)
	enrolled := s.enrol("fern-2", "Fern Example", trainee)
	if err := s.ledger.Erase("fern-2"); err != nil {
		t.Fatal(err)
	}
	want := &rosterv1.Person{PersonId: "fern-2", Roles: []rosterv1.Role{trainee}, EnrolledAt: enrolled.GetPerson().GetEnrolledAt()}
	got, err := s.client.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: "fern-2"})
	if diff := cmp.Diff(want, got.GetPerson(), protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("%v, (-want +got):\n%s", err, diff)
	}
	list, err := s.client.ListPersons(ctx, &rosterv1.ListPersonsRequest{})
	if diff := cmp.Diff([]*rosterv1.Person{want}, list.GetPersons(), protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("%v, (-want +got):\n%s", err, diff)
	}
	_, err = s.client.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "new", PersonId: "fern-2", DisplayName: "Fern Example", Roles: []rosterv1.Role{trainee}})
	rpctest.WantFault(t, err, codes.NotFound, "PERSON_ERASED")
}

func TestPersonsInPages(t *testing.T) {
	s := start(t)
	for i := range 23 {
		role := trainee
		if i%4 == 3 {
			role = supervisor
		}
		s.enrol(fmt.Sprintf("person-%02d", 22-i), fmt.Sprintf("Person %d", 22-i), role)
	}
	for _, size := range []int32{1, 3, 6, 18, 22, 23, 100} {
		for role, want := range map[rosterv1.Role]int{0: 23, trainee: 18, supervisor: 5, rosterv1.Role_ROLE_AUDITOR: 0} {
			var ids []string
			token := ""
			for page := 0; ; page++ {
				resp, err := s.client.ListPersons(ctx, &rosterv1.ListPersonsRequest{PageSize: size, PageToken: token, Role: role})
				if err != nil {
					t.Fatal(err)
				}
				if int32(len(resp.GetPersons())) > size || len(resp.GetPersons()) == 0 && page > 0 {
					t.Fatalf("size %d: page %d holds %d people", size, page, len(resp.GetPersons()))
				}
				for _, p := range resp.GetPersons() {
					ids = append(ids, p.GetPersonId())
				}
				if token = resp.GetNextPageToken(); token == "" {
					break
				}
			}
			if len(slices.Compact(slices.Clone(ids))) != want || !slices.IsSorted(ids) {
				t.Errorf("role %v in pages of %d: %v", role, size, ids)
			}
		}
	}
	resp, err := s.client.ListPersons(ctx, &rosterv1.ListPersonsRequest{PageSize: 2})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.client.ListPersons(ctx, &rosterv1.ListPersonsRequest{PageSize: 2, PageToken: resp.GetNextPageToken(), Role: trainee})
	rpctest.WantFault(t, err, codes.InvalidArgument, "BAD_PAGE_TOKEN")
}

func TestReadsWaitForAPosition(t *testing.T) {
	s := start(t)
	s.enrol("fern-2", "Fern Example", trainee)
	short, cancel := context.WithTimeout(ctx, 50*time.Millisecond)
	defer cancel()
	_, err := s.client.GetPerson(short, &rosterv1.GetPersonRequest{PersonId: "fern-2", AtLeast: &ledgerv1.Position{Site: "bench-room", Sequence: 2}})
	if err == nil {
		t.Error("a position that does not exist yet was read")
	}
	_, err = s.client.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: "fern-2", AtLeast: &ledgerv1.Position{Site: "elsewhere", Sequence: 1}})
	rpctest.WantFault(t, err, codes.InvalidArgument, "POSITION_OF_OTHER_SITE")
}

// check runs the ledger's own checker.
func (s *site) check() {
	s.t.Helper()
	report, err := s.ledger.Check(ctx)
	if err != nil || !report.Clean() {
		s.t.Errorf("the ledger is not clean: %v\n%v", err, report)
	}
}
