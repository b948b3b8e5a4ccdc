package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

func TestAppendThenRead(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	r := mustAppend(t, l, does("q-1", adds("a", 3), named("a", "first")))
	want := &ledgerv1.Entry{
		Site: "lab-1", Programme: "north", Sequence: 1, RecordedAt: timestamppb.New(noon),
		Actor: "p-1", Kind: "Int64Value", SubjectId: "a", RequestId: "q-1",
	}
	if diff := cmp.Diff(want, r.Entries[0], protocmp.Transform(), protocmp.IgnoreFields(&ledgerv1.Entry{}, "payload", "request_mark")); diff != "" {
		t.Errorf("first entry (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(&ledgerv1.Position{Site: "lab-1", Sequence: 2}, r.Position, protocmp.Transform()); diff != "" {
		t.Errorf("position (-want +got):\n%s", diff)
	}
	err := l.Read(context.Background(), r.Position, func(v Reader) error {
		name := &wrapperspb.StringValue{}
		if ok, err := v.Get("names", "of/a", name); !ok || err != nil || name.GetValue() != "first" {
			t.Errorf("name %q, %v, %v", name.GetValue(), ok, err)
		}
		if got := v.Position().GetSequence(); got != 2 {
			t.Errorf("read at %d", got)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	head := mustBeClean(t, l).Head
	l.Close()
	again := open(t, c)
	if got := again.Head(); got != head {
		t.Errorf("after reopening %+v, want %+v", got, head)
	}
	if got := sumOf(t, again, "a"); got != 3 {
		t.Errorf("sum %d", got)
	}
	entries, err := again.Entries(context.Background(), 0, 10)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(r.Entries, entries, protocmp.Transform()); diff != "" {
		t.Errorf("entries (-recorded +read):\n%s", diff)
	}
	mustBeClean(t, again)
}

func TestRequestIDs(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	first := mustAppend(t, l, does("q-1", adds("a", 3), adds("b", 4)))
	mustAppend(t, l, does("q-2", adds("a", 1)))
	again := mustAppend(t, l, does("q-1", adds("a", 3), adds("b", 4)))
	first.Repeated = true
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("the second receipt (-want +got):\n%s", diff)
	}
	_, err := l.Append(context.Background(), does("q-1", adds("a", 5)))
	mustRefuse(t, err, "REQUEST_ID_REUSED")
	other := does("q-1", adds("a", 5))
	other.Actor = "p-2"
	mustAppend(t, l, other)
	if got := sumOf(t, l, "a"); got != 9 {
		t.Errorf("sum %d, want 9", got)
	}
	l.Close()
	l = open(t, c)
	if r := mustAppend(t, l, does("q-1", adds("a", 3), adds("b", 4))); !r.Repeated {
		t.Error("after reopening the command was recorded again")
	}
	if err := l.Erase("anyone"); err != nil { // renews the key of the marks: the id still repeats, its request is no longer known
		t.Fatal(err)
	}
	if r := mustAppend(t, l, does("q-1", adds("a", 5))); !r.Repeated {
		t.Error("after an erasure the command was recorded again")
	}
	if n := len(mustAppend(t, l, does("", adds("a", 1))).Entries) + len(mustAppend(t, l, does("", adds("a", 1))).Entries); n != 2 {
		t.Errorf("without a request id %d entries were recorded", n)
	}
	mustBeClean(t, l)
}

// oneBatch holds the writer until all commands wait, so that they share a batch, and gives their outcomes in order.
func oneBatch(t *testing.T, l *Ledger, commands ...Command) ([]Receipt, []error) {
	t.Helper()
	held, release := make(chan struct{}), make(chan struct{})
	go l.inWriter(context.Background(), func() error { close(held); <-release; return nil })
	<-held
	receipts, errs := make([]Receipt, len(commands)), make([]error, len(commands))
	var wait sync.WaitGroup
	for i, c := range commands {
		before := len(l.queue)
		wait.Go(func() { receipts[i], errs[i] = l.Append(context.Background(), c) })
		for len(l.queue) == before {
			time.Sleep(time.Millisecond)
		}
	}
	close(release)
	wait.Wait()
	return receipts, errs
}

func TestOneCommandDoesNotHarmTheOthers(t *testing.T) {
	l := open(t, config(t.TempDir()))
	no := fault.New(codes.FailedPrecondition, "NO", "It cannot be done.")
	commits := 0
	commit := l.sync
	l.sync = func(txn *badger.Txn) error { commits++; return commit(txn) }
	receipts, errs := oneBatch(t, l,
		does("q-1", adds("a", 1)),
		Command{Actor: "p", Decide: func(Reader) ([]Event, error) { return []Event{adds("a", 100)}, no }},
		Command{Actor: "p", Decide: func(Reader) ([]Event, error) { panic("a mistake") }},
		does("q-2", adds("a", 100), Event{"a", wrapperspb.Double(1)}),
		does("q-3", adds("a", 100), Event{"a", wrapperspb.Bytes(nil)}),
		does("q-1", adds("a", 1)),
		does("q-1", adds("a", 7)),
		Command{Actor: "p", Decide: func(r Reader) ([]Event, error) {
			v := &wrapperspb.Int64Value{}
			if _, err := r.Get("sums", "a", v); err != nil {
				return nil, err
			}
			return []Event{adds("a", v.GetValue()*10)}, nil
		}},
		does("q-4"),
	)
	reasons := make([]string, len(errs))
	for i, err := range errs {
		reasons[i] = fault.Reason(err)
	}
	want := []string{"", "NO", "PANIC", "FOLD_FAILED", "FOLD_FAILED", "", "REQUEST_ID_REUSED", "", ""}
	if diff := cmp.Diff(want, reasons); diff != "" {
		t.Errorf("outcomes (-want +got):\n%s", diff)
	}
	if !errors.Is(errs[1], no) {
		t.Errorf("the refusal came back as %v", errs[1])
	}
	if !receipts[5].Repeated || !proto.Equal(receipts[5].Entries[0], receipts[0].Entries[0]) {
		t.Errorf("the repeated command in the batch got %+v", receipts[5])
	}
	if got := sumOf(t, l, "a"); got != 11 {
		t.Errorf("sum %d, want 11", got)
	}
	if l.Head().Size != 2 || commits != 1 {
		t.Errorf("%d entries in %d commits, want 2 in 1", l.Head().Size, commits)
	}
	if p := receipts[8]; p.Position.GetSequence() != 2 || len(p.Entries) != 0 {
		t.Errorf("a command without events got %+v", p)
	}
	mustBeClean(t, l)
}

func TestBatchTooLargeForOneTransaction(t *testing.T) {
	l := open(t, config(t.TempDir()))
	var commands []Command
	large := make([]byte, 300<<10)
	for i := range large {
		large[i] = 'x'
	}
	for i := range 30 { // 9 MB, and one transaction takes 4.8
		commands = append(commands, does(fmt.Sprint("q-", i), Event{"s", structpb.NewStringValue(string(large))}, adds("n", 1)))
	}
	_, errs := oneBatch(t, l, commands...)
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	if got := sumOf(t, l, "n"); got != 30 {
		t.Errorf("sum %d, want 30", got)
	}
	var much []Event
	for range 20 {
		much = append(much, Event{"s", structpb.NewStringValue(string(large))})
	}
	_, err := l.Append(context.Background(), does("q-much", much...))
	mustRefuse(t, err, "COMMAND_TOO_LARGE")
	_, err = l.Append(context.Background(), does("q-huge", Event{"s", wrapperspb.Bytes(make([]byte, MaxEntryBytes))}))
	mustRefuse(t, err, "ENTRY_TOO_LARGE")
	mustBeClean(t, l)
}

func TestFullQueueAndLateCommands(t *testing.T) {
	c := config(t.TempDir())
	c.QueueLimit = 1
	l := open(t, c)
	held, release := make(chan struct{}), make(chan struct{})
	go l.inWriter(context.Background(), func() error { close(held); <-release; return nil })
	<-held
	ctx, cancel := context.WithCancel(context.Background())
	waiting := make(chan error)
	go func() { _, err := l.Append(ctx, does("q-1", adds("a", 1))); waiting <- err }()
	for len(l.queue) == 0 {
		time.Sleep(time.Millisecond)
	}
	short, stop := context.WithTimeout(context.Background(), 5*time.Millisecond)
	defer stop()
	_, err := l.Append(short, does("q-2", adds("a", 1)))
	mustRefuse(t, err, "LEDGER_BUSY")
	if fault.Code(err) != codes.ResourceExhausted {
		t.Errorf("code %v", fault.Code(err))
	}
	cancel()
	err = <-waiting
	mustRefuse(t, err, "OUT_OF_TIME")
	close(release)
	mustAppend(t, l, does("q-3", adds("a", 5)))
	if got := sumOf(t, l, "a"); got != 5 {
		t.Errorf("sum %d: a command that was given up was recorded", got)
	}
	l.Close()
	_, err = l.Append(context.Background(), does("q-4", adds("a", 5)))
	mustRefuse(t, err, "LEDGER_CLOSED")
	mustRefuse(t, l.Read(context.Background(), nil, func(Reader) error { return nil }), "LEDGER_CLOSED")
}

func TestRefusals(t *testing.T) {
	l := open(t, config(t.TempDir()))
	sealed, _, err := l.Seal("p-9", []byte("x"))
	if err != nil {
		t.Fatal(err)
	}
	event := []Event{adds("a", 1)}
	decide := func(events []Event) func(Reader) ([]Event, error) {
		return func(Reader) ([]Event, error) { return events, nil }
	}
	cases := []struct {
		name    string
		command Command
		reason  string
	}{
		{"no actor", Command{Decide: decide(event)}, "BAD_NAME"},
		{"a control character", Command{Actor: "p\x00", Decide: decide(event)}, "BAD_NAME"},
		{"no decide", Command{Actor: "p"}, "NO_DECIDE"},
		{"no subject", Command{Actor: "p", Decide: decide([]Event{{Payload: wrapperspb.Bool(true)}})}, "BAD_NAME"},
		{"no payload", Command{Actor: "p", Decide: decide([]Event{{Subject: "a"}})}, "EVENT_WITHOUT_PAYLOAD"},
		{"bad UTF-8 in an event", Command{Actor: "p", Decide: decide([]Event{named("a", "\xff")})}, "EVENT_NOT_ENCODED"},
		{"private data alone", Command{Actor: "p", Decide: decide(nil), Private: []Sealed{sealed}}, "PRIVATE_WITHOUT_EVENT"},
		{"too many events", Command{Actor: "p", Decide: decide(make([]Event, MaxEventsInOne+1))}, "TOO_MANY_EVENTS"},
		{"a view that is not there", Command{Actor: "p", Decide: func(r Reader) ([]Event, error) {
			_, err := r.Get("none", "a", nil)
			return nil, err
		}}, "NO_SUCH_VIEW"},
	}
	for _, c := range cases {
		_, err := l.Append(context.Background(), c.command)
		if got := fault.Reason(err); got != c.reason {
			t.Errorf("%s: %v, want reason %s", c.name, err, c.reason)
		}
	}
	if l.Head().Size != 0 {
		t.Error("something was recorded")
	}
	mustBeClean(t, l)
}

func TestOpenRefuses(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	_, err := Open(context.Background(), c)
	mustRefuse(t, err, "LEDGER_IN_USE")
	l.Close()
	other := c
	other.Site = "lab-2"
	os.Rename(filepath.Join(c.Dir, KeyFileName), filepath.Join(c.Dir, "kept")) // else the key file refuses first
	_, err = Open(context.Background(), other)
	mustRefuse(t, err, "OTHER_SITE")
	if err := os.Rename(filepath.Join(c.Dir, "kept"), filepath.Join(c.Dir, KeyFileName)); err != nil {
		t.Fatal(err)
	}
	open(t, c)
}

func TestScan(t *testing.T) {
	l := open(t, config(t.TempDir()))
	for i, name := range []string{"b", "a", "c", "b"} {
		mustAppend(t, l, does("", named(fmt.Sprint("s-", i), name)))
	}
	list := func(r Reader, prefix, after string, limit int) []string {
		var got []string
		if err := r.Scan("names", prefix, after, limit, func(key string, value []byte) error {
			id := &wrapperspb.StringValue{}
			got = append(got, key)
			return proto.Unmarshal(value, id)
		}); err != nil {
			t.Error(err)
		}
		return got
	}
	cases := []struct {
		prefix, after string
		limit         int
		want          []string
	}{
		{"by/", "", 0, []string{"by/a/s-1", "by/b/s-0", "by/b/s-9", "by/z/s-3"}},
		{"by/b/", "", 0, []string{"by/b/s-0", "by/b/s-9"}},
		{"by/", "by/b/s-0", 0, []string{"by/b/s-9", "by/z/s-3"}},
		{"by/", "", 2, []string{"by/a/s-1", "by/b/s-0"}},
		{"by/", "by/z/s-3", 0, nil},
		{"of/", "a", 1, []string{"of/s-0"}},
	}
	// The same rows, committed and within a batch, where some lie in the batch and some in the store.
	within := does("", named("s-9", "b"), named("s-3", "z"), forgets("s-2"))
	_, errs := oneBatch(t, l, within, Command{Actor: "p", Decide: func(r Reader) ([]Event, error) {
		for _, c := range cases {
			if diff := cmp.Diff(c.want, list(r, c.prefix, c.after, c.limit)); diff != "" {
				t.Errorf("in a batch, scan %q after %q limit %d (-want +got):\n%s", c.prefix, c.after, c.limit, diff)
			}
		}
		return nil, nil
	}})
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	l.Read(context.Background(), nil, func(r Reader) error {
		for _, c := range cases {
			if diff := cmp.Diff(c.want, list(r, c.prefix, c.after, c.limit)); diff != "" {
				t.Errorf("committed, scan %q after %q limit %d (-want +got):\n%s", c.prefix, c.after, c.limit, diff)
			}
		}
		return nil
	})
}

func TestReadWaitsForAPosition(t *testing.T) {
	l := open(t, config(t.TempDir()))
	done := make(chan error)
	go func() {
		done <- l.Read(context.Background(), &ledgerv1.Position{Site: "lab-1", Sequence: 2}, func(r Reader) error {
			if r.Position().GetSequence() < 2 {
				t.Errorf("read at %d", r.Position().GetSequence())
			}
			return nil
		})
	}()
	mustAppend(t, l, does("", adds("a", 1)))
	mustAppend(t, l, does("", adds("a", 1)))
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Millisecond)
	defer cancel()
	mustRefuse(t, l.Read(ctx, &ledgerv1.Position{Site: "lab-1", Sequence: 3}, nil), "OUT_OF_TIME")
	mustRefuse(t, l.Read(context.Background(), &ledgerv1.Position{Site: "lab-2", Sequence: 1}, nil), "POSITION_OF_OTHER_SITE")
}

func TestFollow(t *testing.T) {
	l := open(t, config(t.TempDir()))
	for range 3 {
		mustAppend(t, l, does("", adds("a", 1), adds("b", 1)))
	}
	seen := make(chan uint64, 100)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() {
		done <- l.Follow(ctx, 3, func(e *ledgerv1.Entry) error { seen <- e.GetSequence(); return nil })
	}()
	for want := uint64(3); want <= 10; want++ {
		if want == 7 {
			for range 2 {
				mustAppend(t, l, does("", adds("a", 1), adds("b", 1)))
			}
		}
		if got := <-seen; got != want {
			t.Fatalf("entry %d came, want %d", got, want)
		}
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
	go func() { done <- l.Follow(context.Background(), 11, nil) }()
	l.Close()
	mustRefuse(t, <-done, "LEDGER_CLOSED")
}

func TestCursors(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	if _, known, err := l.Cursor("copy"); known || err != nil {
		t.Errorf("a cursor nobody set: %v, %v", known, err)
	}
	mustAppend(t, l, does("", adds("a", 1)))
	mustRefuse(t, l.SetCursor("copy", 2), "BEYOND_THE_END")
	if err := l.SetCursor("copy", 1); err != nil {
		t.Fatal(err)
	}
	mustBeClean(t, l)
	l.Close()
	l = open(t, c)
	if at, known, err := l.Cursor("copy"); at != 1 || !known || err != nil {
		t.Errorf("cursor %d, %v, %v", at, known, err)
	}
}

func TestProofs(t *testing.T) {
	l := open(t, config(t.TempDir()))
	for range 20 {
		mustAppend(t, l, does("", adds("a", 1)))
	}
	for size := uint64(1); size <= 20; size++ {
		for n := uint64(1); n <= size; n++ {
			p, err := l.ProveInclusion(n, size)
			if err != nil {
				t.Fatal(err)
			}
			if err := tlog.CheckRecord(p.Hashes, int64(size), p.Root, int64(n)-1, p.Leaf); err != nil {
				t.Errorf("entry %d in %d: %v", n, size, err)
			}
			g, err := l.ProveGrowth(n, size)
			if err != nil {
				t.Fatal(err)
			}
			if err := tlog.CheckTree(g.Hashes, int64(size), g.Root, int64(n), g.OldRoot); err != nil {
				t.Errorf("tree %d in %d: %v", n, size, err)
			}
		}
	}
	p, err := l.ProveInclusion(20, 0)
	if err != nil || p.Root != l.Head().Root {
		t.Errorf("root %v, head %v, %v", p.Root, l.Head().Root, err)
	}
	_, err = l.ProveInclusion(21, 0)
	mustRefuse(t, err, "NOT_IN_TREE")
	_, err = l.ProveGrowth(3, 21)
	mustRefuse(t, err, "BEYOND_THE_END")
}
