package replica

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
	"zonule/services/ledger/relay/natstest"
)

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// tally is the tests' view: the sum of numbers by subject, and the order in which each site's came.
type tally struct{}

func (tally) Name() string    { return "tally" }
func (tally) Version() uint32 { return 1 }

func (tally) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	n, ok := payload.(*wrapperspb.UInt64Value)
	if !ok {
		return nil
	}
	last := &wrapperspb.UInt64Value{}
	if _, err := w.Get("tally", "last/"+e.GetSite(), last); err != nil {
		return err
	}
	if last.Value+1 != n.Value {
		return fmt.Errorf("number %d of %s follows number %d", n.Value, e.GetSite(), last.Value)
	}
	return w.Put("tally", "last/"+e.GetSite(), n)
}

func (tally) last(t testing.TB, l *ledger.Ledger, site string) uint64 {
	t.Helper()
	last := &wrapperspb.UInt64Value{}
	if err := l.Read(context.Background(), nil, func(r ledger.Reader) error {
		_, err := r.Get("tally", "last/"+site, last)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return last.Value
}

// site is a ledger in a folder.
type site struct {
	*ledger.Ledger
	config ledger.Config
}

func openSite(t testing.TB, name string) *site {
	t.Helper()
	return reopen(t, ledger.Config{Dir: t.TempDir(), Programme: "north", Site: name, Views: []ledger.View{tally{}}, Logger: quiet(), CheckpointEvery: 20 * time.Millisecond})
}

func reopen(t testing.TB, c ledger.Config) *site {
	t.Helper()
	l, err := ledger.Open(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	return &site{l, c}
}

func number(n uint64) *wrapperspb.UInt64Value { return wrapperspb.UInt64(n) }

// record appends numbers, each one more than the one before.
func (s *site) record(t testing.TB, n int) {
	t.Helper()
	for range n {
		_, err := s.Append(context.Background(), ledger.Command{Actor: "p-1", Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			return []ledger.Event{{Subject: "x", Payload: number(r.Position().GetSequence() + 1)}}, nil
		}})
		if err != nil {
			t.Error(err)
			return
		}
	}
}

func (s *site) mustBeClean(t testing.TB) {
	t.Helper()
	r, err := s.Check(context.Background())
	if err != nil || !r.Clean() {
		t.Fatalf("site %s is not clean (%v):\n%s", s.Site(), err, r)
	}
}

func server(t testing.TB, o relay.EmbeddedOptions) *relay.Server {
	t.Helper()
	o.Logger = quiet()
	s, err := relay.Embedded(t.TempDir(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	return s
}

func inside(t testing.TB, s *relay.Server) *nats.Conn {
	t.Helper()
	nc, err := s.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return nc
}

// somewhere is a connection to an embedded server or, with ZONULE_CLUSTER set, to three in a cluster.
func somewhere(t testing.TB) *nats.Conn {
	t.Helper()
	if !natstest.InCluster() {
		return inside(t, server(t, relay.EmbeddedOptions{}))
	}
	outside := natstest.StartCluster(t).External()
	outside.Logger = quiet()
	nc, err := outside.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	until(t, "the cluster is reached", nc.IsConnected)
	return nc
}

// replicas is how many servers are to keep a stream.
func replicas(nc *nats.Conn) int {
	if nc.ConnectedClusterName() != "" {
		return 3
	}
	return 1
}

// background runs something until the test, or stop, ends it.
func background(t testing.TB, run func(context.Context) error) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = run(ctx) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return stop
}

// carry makes a site reachable: its relay and its owner run over a connection.
func (s *site) carry(t testing.TB, nc *nats.Conn) (carrier *relay.Relay, stop func()) {
	t.Helper()
	carrier, err := relay.New(relay.Config{Ledger: s.Ledger, Conn: nc, Replicas: replicas(nc), Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	stopRelay, stopOwner := background(t, carrier.Run), background(t, Owner{s.Ledger, nc, quiet()}.Run)
	return carrier, func() { stopRelay(); stopOwner() }
}

// follow runs a replica of another site.
func (s *site) follow(t testing.TB, other string, nc *nats.Conn) (*Replica, func()) {
	t.Helper()
	r, err := New(Config{Ledger: s.Ledger, Conn: nc, Site: other, Logger: quiet(), CosignEvery: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	return r, background(t, r.Run)
}

// until waits for something to become true.
func until(t testing.TB, what string, true func() bool) {
	t.Helper()
	for deadline := time.Now().Add(45 * time.Second); !true(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("after 45 s it is not so that %s", what)
		}
	}
}

// mustShow waits until a site's views show all that another recorded.
func (s *site) mustShow(t testing.TB, other *site) {
	t.Helper()
	want := other.Head().Size
	until(t, fmt.Sprintf("%s shows %d entries of %s", s.Site(), want, other.Site()), func() bool {
		return tally{}.last(t, s.Ledger, other.Site()) == want
	})
}

// recordMany appends numbers, a thousand in a command.
func recordMany(t testing.TB, s *site, n int) {
	t.Helper()
	for n > 0 {
		some := min(n, ledger.MaxEventsInOne)
		_, err := s.Append(context.Background(), ledger.Command{Actor: "p-1", Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			var events []ledger.Event
			for i := range some {
				events = append(events, ledger.Event{Subject: "x", Payload: number(r.Position().GetSequence() + uint64(i) + 1)})
			}
			return events, nil
		}})
		if err != nil {
			t.Fatal(err)
		}
		n -= some
	}
}

// copyAll hands a whole ledger over in memory.
func copyAll(t testing.TB, into, owner *site) {
	t.Helper()
	ctx := context.Background()
	if err := into.OpenCopy(ctx, owner.Site(), owner.VerifierKey()); err != nil {
		t.Fatal(err)
	}
	for at := uint64(0); at < owner.Head().Size; {
		run, err := owner.Stored(ctx, at+1, batch)
		if err != nil {
			t.Fatal(err)
		}
		if err := into.Receive(ctx, owner.Site(), run); err != nil {
			t.Fatal(err)
		}
		at += uint64(len(run))
	}
	signed, err := owner.Checkpoint(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := into.Accept(ctx, owner.Site(), signed); err != nil {
		t.Fatal(err)
	}
	for more := true; more; {
		if more, err = into.FoldCopy(ctx, owner.Site()); err != nil {
			t.Fatal(err)
		}
	}
}
