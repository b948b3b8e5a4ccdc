package relay

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"zonule/services/clock"
	"zonule/services/ledger"
)

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

func openLedger(t testing.TB, dir string) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(context.Background(), ledger.Config{
		Dir: dir, Programme: "north", Site: "lab.1", Logger: quiet(),
		Clock: clock.NewSet(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func startServer(t testing.TB, dir string) (*Server, *nats.Conn) {
	t.Helper()
	s, err := Embedded(dir, EmbeddedOptions{Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	nc, err := s.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return s, nc
}

// start runs a relay; stop ends it and waits.
func start(t testing.TB, l *ledger.Ledger, nc *nats.Conn) (r *Relay, stop func()) {
	t.Helper()
	r, err := New(Config{Ledger: l, Conn: nc, Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	stop = func() {
		cancel()
		<-done
		done <- nil
	}
	t.Cleanup(stop)
	return r, stop
}

func record(t testing.TB, l *ledger.Ledger, n int) {
	t.Helper()
	for range n {
		size := l.Head().Size
		_, err := l.Append(context.Background(), ledger.Command{Actor: "p-1", Decide: func(ledger.Reader) ([]ledger.Event, error) {
			return []ledger.Event{{Subject: fmt.Sprintf("d %d", size), Payload: wrapperspb.UInt64(size)}}, nil
		}})
		if err != nil { // not Fatal: it is called from goroutines too
			t.Error(err)
			return
		}
	}
}

// until waits for a state at which everything is carried that is recorded, or for a refusal.
func until(t testing.TB, r *Relay, want State) Status {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		s := r.Status()
		if s.State == want && (want != UpToDate || s.Carried == s.Size) {
			return s
		}
		if time.Now().After(deadline) {
			t.Fatalf("the relay is %+v, want %s", s, want)
		}
	}
}

// mustBeCopy reads the whole stream and compares it with the ledger: each entry once, in order, byte for byte.
func mustBeCopy(t testing.TB, l *ledger.Ledger, nc *nats.Conn) {
	t.Helper()
	got := readStream(t, nc)
	want := []string{}
	for next := uint64(1); next <= l.Head().Size; {
		run, err := l.Stored(context.Background(), next, 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range run {
			e, err := one.Entry()
			if err != nil {
				t.Fatal(err)
			}
			want = append(want, fmt.Sprintf("%s lab=2E1-%d %x", Subject("north", "lab.1", e.GetKind(), e.GetSubjectId()), one.Sequence, one.Bytes))
		}
		next += uint64(len(run))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("the stream is not a copy (-ledger +stream):\n%.2000s", diff)
	}
}

func readStream(t testing.TB, nc *nats.Conn) []string {
	t.Helper()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	var stream jetstream.Stream
	for tries := 0; stream == nil; tries++ { // a request made while the server restarts is lost
		short, stop := context.WithTimeout(ctx, time.Second)
		stream, err = js.Stream(short, StreamName("north", "lab.1"))
		stop()
		if err != nil && tries == 10 {
			t.Fatal(err)
		}
	}
	info, err := stream.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	got := []string{}
	for sequence := uint64(1); sequence <= info.State.LastSeq; sequence++ {
		msg, err := stream.GetMsg(ctx, sequence)
		if err != nil {
			t.Fatalf("message %d: %v", sequence, err)
		}
		got = append(got, fmt.Sprintf("%s %s %x", msg.Subject, msg.Header.Get(jetstream.MsgIDHeader), msg.Data))
	}
	return got
}

func TestCarries(t *testing.T) {
	l := openLedger(t, t.TempDir())
	_, nc := startServer(t, t.TempDir())
	record(t, l, 30)
	r, stop := start(t, l, nc)
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
	record(t, l, 20)
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
	stop()
	if at, known, err := l.Cursor(StreamName("north", "lab.1")); at != 50 || !known || err != nil {
		t.Errorf("cursor %d, %v, %v", at, known, err)
	}
}

func TestOldCursorMakesNoDuplicates(t *testing.T) {
	l := openLedger(t, t.TempDir())
	_, nc := startServer(t, t.TempDir())
	for round := range 3 {
		r, stop := start(t, l, nc)
		record(t, l, 10)
		until(t, r, UpToDate)
		stop()
		if err := l.SetCursor(StreamName("north", "lab.1"), uint64(round)); err != nil {
			t.Fatal(err)
		}
	}
	mustBeCopy(t, l, nc)
}

func TestNATSAway(t *testing.T) {
	l := openLedger(t, t.TempDir())
	s, nc := startServer(t, t.TempDir())
	r, _ := start(t, l, nc)
	recording := make(chan struct{})
	go func() {
		defer close(recording)
		record(t, l, 600)
	}()
	for range 4 {
		for before := r.Status().Carried; r.Status().Carried < before+5 && l.Head().Size < 590; {
			time.Sleep(time.Millisecond)
		}
		s.Stop()
		if err := s.Start(); err != nil {
			t.Fatal(err)
		}
	}
	<-recording
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
	s.Stop()
	until(t, r, UpToDate) // nothing to carry, nothing to complain of
	record(t, l, 5)       // recorded all the same
	if got := r.Status(); got.State != CatchingUp && got.State != Waiting {
		t.Errorf("with NATS away the relay says %+v", got)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
}

func TestRefusals(t *testing.T) {
	cases := []struct {
		name   string
		before func(t *testing.T, l *ledger.Ledger, s *Server, nc *nats.Conn) *ledger.Ledger
		want   string
	}{
		{"the stream vanished", func(t *testing.T, l *ledger.Ledger, s *Server, _ *nats.Conn) *ledger.Ledger {
			s.Stop()
			if err := os.RemoveAll(filepath.Join(s.dir, "jetstream")); err != nil {
				t.Fatal(err)
			}
			if err := s.Start(); err != nil {
				t.Fatal(err)
			}
			return l
		}, "is not there"},
		{"the ledger lost its end", func(t *testing.T, _ *ledger.Ledger, _ *Server, _ *nats.Conn) *ledger.Ledger {
			shorter := openLedger(t, t.TempDir())
			record(t, shorter, 5)
			return shorter
		}, "has lost its end"},
		{"the ledger is another", func(t *testing.T, _ *ledger.Ledger, _ *Server, _ *nats.Conn) *ledger.Ledger {
			other := openLedger(t, t.TempDir())
			for range 20 {
				if _, err := other.Append(context.Background(), ledger.Command{Actor: "p-2", Decide: func(ledger.Reader) ([]ledger.Event, error) {
					return []ledger.Event{{Subject: "x", Payload: wrapperspb.Bool(true)}}, nil
				}}); err != nil {
					t.Fatal(err)
				}
			}
			return other
		}, "is not the entry 10 of the ledger"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			l := openLedger(t, t.TempDir())
			s, nc := startServer(t, t.TempDir())
			record(t, l, 10)
			r, stop := start(t, l, nc)
			until(t, r, UpToDate)
			stop()
			l = c.before(t, l, s, nc)
			r, _ = start(t, l, nc)
			if got := until(t, r, Refusing); !strings.Contains(got.Sentence, c.want) {
				t.Errorf("it says %q, want %q", got.Sentence, c.want)
			}
		})
	}
}

func TestForeignStream(t *testing.T) {
	l := openLedger(t, t.TempDir())
	record(t, l, 1)
	_, nc := startServer(t, t.TempDir())
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.CreateStream(context.Background(), jetstream.StreamConfig{Name: StreamName("north", "lab.1"), Subjects: []string{"other"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := js.Publish(context.Background(), "other", []byte("x")); err != nil {
		t.Fatal(err)
	}
	r, _ := start(t, l, nc)
	if got := until(t, r, Refusing); !strings.Contains(got.Sentence, "not a ledger's") {
		t.Errorf("it says %q", got.Sentence)
	}
}

// TestStreamLosesItsEnd cuts the last bytes off the stream's file, as a power cut with writes not yet on disk can do.
func TestStreamLosesItsEnd(t *testing.T) {
	l := openLedger(t, t.TempDir())
	s, nc := startServer(t, t.TempDir())
	record(t, l, 40)
	r, stop := start(t, l, nc)
	until(t, r, UpToDate)
	stop()
	s.Stop()
	var cut string
	filepath.WalkDir(s.dir, func(path string, _ os.DirEntry, _ error) error {
		switch {
		case strings.HasSuffix(path, ".blk") && strings.Contains(path, StreamName("north", "lab.1")):
			cut = path
		case strings.HasSuffix(path, "index.db"):
			os.Remove(path)
		}
		return nil
	})
	info, err := os.Stat(cut)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(cut, info.Size()*2/3); err != nil {
		t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	if n := len(readStream(t, nc)); n == 0 || n >= 40 {
		t.Fatalf("after the cut the stream has %d messages; the test means to lose some of 40", n)
	}
	r, _ = start(t, l, nc)
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
}

func TestToken(t *testing.T) {
	cases := map[string]string{"lab-1_A": "lab-1_A", "": "=", "a.b": "a=2Eb", "*": "=2A", ">": "=3E", "a b": "a=20b", "=": "=3D", "ö": "=C3=B6"}
	for id, want := range cases {
		if got := Token(id); got != want {
			t.Errorf("Token(%q) = %q, want %q", id, got, want)
		}
	}
}

func TestLoopback(t *testing.T) {
	s, err := Embedded(t.TempDir(), EmbeddedOptions{Loopback: true, Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	if !strings.Contains(s.URL(), "127.0.0.1:") {
		t.Errorf("URL %q", s.URL())
	}
	nc, err := nats.Connect(s.URL())
	if err != nil {
		t.Fatal(err)
	}
	nc.Close()
	s.Stop()
	if s.URL() != "" {
		t.Errorf("a stopped server has URL %q", s.URL())
	}
}
