package relay

import (
	"context"
	"encoding/base64"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// TestExampleOfTheEventsPage does what services/ledger/EVENTS.md shows: a plain NATS client, the published proto, and
// nothing else of this program, follows a site's events, verifies each, and asks for one as JSON. The relay runs behind a
// port through which one can only read.
func TestExampleOfTheEventsPage(t *testing.T) {
	l := openLedger(t, t.TempDir())
	s, err := Embedded(t.TempDir(), EmbeddedOptions{Loopback: true, ReadersOnly: true, Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	inside, err := s.Connect("site")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(inside.Close)
	start(t, l, inside)
	stop, err := ServeJSON(inside, l)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop() })
	record(t, l, 25)

	followed, asJSON, err := follow(s.URL(), "north", "lab=2E1", 25)
	if err != nil {
		t.Fatal(err)
	}
	want, err := l.Entries(context.Background(), 1, 100)
	if err != nil {
		t.Fatal(err)
	}
	if len(followed) != len(want) {
		t.Fatalf("followed %d of %d entries", len(followed), len(want))
	}
	for i := range want {
		if !proto.Equal(want[i], followed[i]) {
			t.Errorf("entry %d came as %v", i+1, followed[i])
		}
	}
	rendered := &ledgerv1.Entry{}
	if err := protojson.Unmarshal(asJSON, rendered); err != nil || !proto.Equal(rendered, want[24]) || !strings.Contains(string(asJSON), `"kind"`) {
		t.Errorf("as JSON: %v\n%s", err, asJSON)
	}
}

// follow is the example of EVENTS.md.
func follow(url, programme, site string, count int) (entries []*ledgerv1.Entry, last []byte, err error) {
	nc, err := nats.Connect(url)
	if err != nil {
		return nil, nil, err
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, nil, err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	consumer, err := js.OrderedConsumer(ctx, "zonule-"+programme+"-"+site, jetstream.OrderedConsumerConfig{
		FilterSubjects: []string{"zonule." + programme + "." + site + ".>"},
	})
	if err != nil {
		return nil, nil, err
	}
	for len(entries) < count {
		msg, err := consumer.Next(jetstream.FetchMaxWait(5 * time.Second))
		if err != nil {
			return nil, nil, err
		}
		leaf := tlog.RecordHash(msg.Data()) // SHA-256 of a zero byte and the body
		if msg.Headers().Get("Zonule-Leaf") != base64.StdEncoding.EncodeToString(leaf[:]) {
			return nil, nil, fmt.Errorf("the body of message %s is not what its header says", msg.Headers().Get("Nats-Msg-Id"))
		}
		e := &ledgerv1.Entry{}
		if err := proto.Unmarshal(msg.Data(), e); err != nil {
			return nil, nil, err
		}
		if e.GetSequence() != uint64(len(entries))+1 {
			return nil, nil, fmt.Errorf("entry %d came where %d was due", e.GetSequence(), len(entries)+1)
		}
		entries = append(entries, e)
	}
	answer, err := nc.Request("zonule-json."+programme+"."+site, []byte(fmt.Sprint(count)), 5*time.Second)
	if err != nil {
		return nil, nil, err
	}
	if reason := answer.Header.Get("Zonule-Error"); reason != "" {
		return nil, nil, fmt.Errorf("%s: %s", reason, answer.Data)
	}
	return entries, answer.Data, nil
}

// Whoever comes through the port can read, and change nothing.
func TestReadersOnlyRead(t *testing.T) {
	l := openLedger(t, t.TempDir())
	s, err := Embedded(t.TempDir(), EmbeddedOptions{Loopback: true, ReadersOnly: true, Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	inside, err := s.Connect("site")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(inside.Close)
	record(t, l, 5)
	r, _ := start(t, l, inside)
	until(t, r, UpToDate)
	outside, err := nats.Connect(s.URL(), nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(outside.Close)
	js, err := jetstream.New(outside)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	short := func() context.Context {
		ctx, cancel := context.WithTimeout(ctx, 300*time.Millisecond)
		t.Cleanup(cancel)
		return ctx
	}
	name := StreamName("north", "lab.1")
	if _, err := js.Stream(ctx, name); err != nil {
		t.Errorf("a reader cannot see the stream: %v", err)
	}
	tries := map[string]func() error{
		"publish":           func() error { _, err := js.Publish(short(), Subject("north", "lab.1", "X", "y"), nil); return err },
		"delete the stream": func() error { return js.DeleteStream(short(), name) },
		"make a stream": func() error {
			_, err := js.CreateStream(short(), jetstream.StreamConfig{Name: "other", Subjects: []string{"other"}})
			return err
		},
	}
	for what, try := range tries {
		if try() == nil {
			t.Errorf("a reader could %s", what)
		}
	}
	s.Stop() // the site's own connection comes back with the new secret
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	record(t, l, 5)
	until(t, r, UpToDate)
	mustBeCopy(t, l, inside)
}

func TestJSONRefusals(t *testing.T) {
	l := openLedger(t, t.TempDir())
	record(t, l, 2)
	_, nc := startServer(t, t.TempDir())
	stop, err := ServeJSON(nc, l)
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	for body, want := range map[string]string{"": "NOT_A_SEQUENCE", "0": "NOT_A_SEQUENCE", "x": "NOT_A_SEQUENCE", "-1": "NOT_A_SEQUENCE", "3": "NO_SUCH_ENTRY", "2": ""} {
		answer, err := nc.Request(JSONSubject("north", "lab.1"), []byte(body), 5*time.Second)
		if err != nil || answer.Header.Get(HeaderError) != want {
			t.Errorf("%q: %v, %v", body, answer, err)
		}
	}
}
