package dashboard

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/proto"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/ledger/relay"
)

// carried publishes entries as the relay does, through an embedded server that a test may stop and start.
type carried struct {
	t      *testing.T
	server *relay.Server
	js     jetstream.JetStream
	next   uint64
	waits  chan struct{} // told when the feed logs that it waits
}

// Write takes the feed's log.
func (c *carried) Write(line []byte) (int, error) {
	select {
	case c.waits <- struct{}{}:
	default:
	}
	return len(line), nil
}

func (c *carried) publish(kind, subject string, opts ...jetstream.PublishOpt) error {
	e := assessedEntry(c.t, "t-001", subject)
	e.Kind, e.Sequence = kind, c.next+1
	data, err := proto.Marshal(e)
	if err != nil {
		c.t.Fatal(err)
	}
	ctx, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	_, err = c.js.Publish(ctx, relay.Subject("p", "s", kind, subject), data, opts...)
	if err == nil {
		c.next++
	}
	return err
}

func (c *carried) must(kind, subject string) {
	c.t.Helper()
	if err := c.publish(kind, subject); err != nil {
		c.t.Fatal(err)
	}
}

func (c *carried) create() {
	c.t.Helper()
	ctx, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	_, err := c.js.CreateStream(ctx, jetstream.StreamConfig{Name: relay.StreamName("p", "s"), Subjects: []string{relay.SitePrefix("p", "s") + ">"}, Storage: jetstream.FileStorage, DenyDelete: true, DenyPurge: true})
	if err != nil {
		c.t.Fatal(err)
	}
}

// follow starts a server and a feed that tells what it is given: a drill's id, or "?" for what may have been missed.
func follow(t *testing.T) (*carried, <-chan string, func()) {
	t.Helper()
	quiet := slog.New(slog.NewTextHandler(io.Discard, nil))
	server, err := relay.Embedded(t.TempDir(), relay.EmbeddedOptions{Logger: quiet})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(server.Stop)
	conn, err := server.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	given := make(chan string, 1000)
	c := &carried{t: t, server: server, js: js, waits: make(chan struct{}, 1)}
	begin := func() {
		feed := NATSFeed{Conn: conn, Stream: relay.StreamName("p", "s"), Prefix: relay.SitePrefix("p", "s"), Log: slog.New(slog.NewTextHandler(c, nil))}
		ctx, stop := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() {
			ended <- feed.Follow(ctx, []string{kindAssessed}, func(e *ledgerv1.Entry) {
				if e == nil {
					given <- "?"
					return
				}
				given <- e.GetSubjectId()
			})
		}()
		t.Cleanup(func() {
			stop()
			if err := <-ended; err != nil {
				t.Errorf("Follow ended with %v, want nil", err)
			}
		})
	}
	return c, given, begin
}

func wants(t *testing.T, given <-chan string, want string) {
	t.Helper()
	select {
	case got := <-given:
		if got != want {
			t.Fatalf("given %q, want %q", got, want)
		}
	case <-time.After(30 * time.Second):
		t.Fatalf("nothing given, want %q", want)
	}
}

func TestNATSFeedGivesCommittedEntriesOfItsKindsFromNowOn(t *testing.T) {
	c, given, begin := follow(t)
	c.create()
	c.must(kindAssessed, "before")
	begin()
	wants(t, given, "?")
	c.must("DecisionTaken", "other-kind")
	if err := c.publish(kindAssessed, "refused", jetstream.WithExpectLastSequence(99)); err == nil {
		t.Fatal("the stream took an entry out of order")
	}
	c.must(kindAssessed, "one")
	c.must(kindAssessed, "two")
	wants(t, given, "one")
	wants(t, given, "two")
}

func TestNATSFeedGoesOnAfterItsServerWasAway(t *testing.T) {
	if testing.Short() {
		t.Skip("restarts a server")
	}
	c, given, begin := follow(t)
	begin()
	<-c.waits // it has looked before there was a stream: all of it is new
	c.create()
	c.must(kindAssessed, "one")
	wants(t, given, "one")
	c.server.Stop()
	if err := c.server.Start(); err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		name := fmt.Sprintf("after-%d", i)
		for c.publish(kindAssessed, name, jetstream.WithMsgID(name)) != nil { // until the connection is back
			time.Sleep(50 * time.Millisecond)
		}
		wants(t, given, name)
	}
}
