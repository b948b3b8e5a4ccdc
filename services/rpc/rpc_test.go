package rpc_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/rpc"
)

// desk answers GetPerson by what its id asks for.
type desk struct {
	rosterv1.UnimplementedRosterServiceServer
	actor string
}

func (d *desk) GetPerson(ctx context.Context, r *rosterv1.GetPersonRequest) (*rosterv1.GetPersonResponse, error) {
	d.actor = rpc.Actor(ctx)
	switch r.GetPersonId() {
	case "panic":
		panic("a bug with a secret in it")
	case "boom":
		return nil, errors.New("disk /secret failed")
	case "slow":
		return nil, context.DeadlineExceeded
	case "nobody":
		return nil, fault.New(codes.NotFound, "NO_SUCH_PERSON", "Nobody has the id nobody.", "person", "nobody")
	}
	return &rosterv1.GetPersonResponse{Person: &rosterv1.Person{PersonId: r.GetPersonId()}}, nil
}

func start(t *testing.T) (*grpc.ClientConn, *desk, *bytes.Buffer) {
	t.Helper()
	var logged bytes.Buffer
	d := &desk{}
	s, err := rpc.NewServer(slog.New(slog.NewTextHandler(&logged, nil)), func(s *grpc.Server) { rosterv1.RegisterRosterServiceServer(s, d) })
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = s.Serve(l) }()
	t.Cleanup(s.Stop)
	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn, d, &logged
}

func TestWhatReachesTheClient(t *testing.T) {
	conn, _, logged := start(t)
	c := rosterv1.NewRosterServiceClient(conn)
	cases := []struct {
		person string
		code   codes.Code
		reason string
		says   string
	}{
		{"ada", codes.OK, "", ""},
		{"nobody", codes.NotFound, "NO_SUCH_PERSON", "Nobody has the id nobody."},
		{"x", codes.InvalidArgument, "REQUEST_REFUSED", "person_id"},
		{"boom", codes.Internal, "UNEXPECTED", "nothing was changed"},
		{"panic", codes.Internal, "UNEXPECTED", "Something failed inside"},
		{"slow", codes.DeadlineExceeded, "CALL_TIMED_OUT", "same request id"},
	}
	for _, tc := range cases {
		_, err := c.GetPerson(t.Context(), &rosterv1.GetPersonRequest{PersonId: tc.person})
		if got := fault.Code(err); got != tc.code {
			t.Errorf("%s: code %v, want %v", tc.person, got, tc.code)
		}
		if got := fault.Reason(err); got != tc.reason {
			t.Errorf("%s: reason %q, want %q", tc.person, got, tc.reason)
		}
		if err != nil && !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v does not say %q", tc.person, err, tc.says)
		}
		if err != nil && strings.Contains(err.Error(), "secret") {
			t.Errorf("%s: what belongs in the log reached the client: %v", tc.person, err)
		}
	}
	for _, want := range []string{"disk /secret failed", "a bug with a secret in it"} {
		if !strings.Contains(logged.String(), want) {
			t.Errorf("the log lacks %q", want)
		}
	}
}

func TestRefusedFieldsAreInTheMetadata(t *testing.T) {
	conn, _, _ := start(t)
	_, err := rosterv1.NewRosterServiceClient(conn).EnrolPerson(t.Context(), &rosterv1.EnrolPersonRequest{PersonId: "UPPER", Roles: []rosterv1.Role{0}})
	f := fault.From(err)
	for _, field := range []string{"request_id", "person_id", "display_name", "roles[0]"} {
		if f.Meta[field] == "" {
			t.Errorf("the metadata lack %s: %v", field, f.Meta)
		}
	}
}

func TestActor(t *testing.T) {
	conn, d, _ := start(t)
	c := rosterv1.NewRosterServiceClient(conn)
	for actor, want := range map[string]string{"sup-1": "sup-1", "": rpc.Anonymous, strings.Repeat("a", 81): rpc.Anonymous} {
		if _, err := c.GetPerson(rpc.As(t.Context(), actor), &rosterv1.GetPersonRequest{PersonId: "ada"}); err != nil {
			t.Fatal(err)
		}
		if d.actor != want {
			t.Errorf("actor %q became %q, want %q", actor, d.actor, want)
		}
	}
}

// Stock clients find the services by reflection and ask for health.
func TestStockClients(t *testing.T) {
	conn, _, _ := start(t)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	h, err := healthpb.NewHealthClient(conn).Check(ctx, &healthpb.HealthCheckRequest{Service: "zonule.roster.v1.RosterService"})
	if err != nil || h.GetStatus() != healthpb.HealthCheckResponse_SERVING {
		t.Errorf("health: %v, %v", h, err)
	}
	s, err := reflectpb.NewServerReflectionClient(conn).ServerReflectionInfo(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Send(&reflectpb.ServerReflectionRequest{MessageRequest: &reflectpb.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	r, err := s.Recv()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(r.String(), "zonule.roster.v1.RosterService") {
		t.Errorf("reflection does not list the office: %v", r)
	}
}
