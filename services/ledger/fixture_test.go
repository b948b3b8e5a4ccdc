package ledger

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/clock"
	"zonule/services/fault"
)

// The tests' events are well-known messages: an Int64Value adds to its subject's sum, a StringValue names it, a
// BoolValue forgets it, a DoubleValue cannot be folded and a BytesValue makes the fold panic.

// sums is the tests' view of totals: one row for each subject that has one.
type sums struct{ version uint32 }

func (sums) Name() string      { return "sums" }
func (v sums) Version() uint32 { return max(v.version, 1) }

func (v sums) Fold(w Writer, e *ledgerv1.Entry, payload proto.Message) error {
	switch p := payload.(type) {
	case *wrapperspb.Int64Value:
		total := &wrapperspb.Int64Value{}
		if _, err := w.Get("sums", e.GetSubjectId(), total); err != nil {
			return err
		}
		total.Value += p.GetValue() * int64(v.Version())
		return w.Put("sums", e.GetSubjectId(), total)
	case *wrapperspb.BoolValue:
		return w.Delete("sums", e.GetSubjectId())
	case *wrapperspb.DoubleValue:
		return fmt.Errorf("no room for %v", p.GetValue())
	case *wrapperspb.BytesValue:
		panic("a mistake in a fold")
	}
	return nil
}

// names is the tests' view of names: for each subject its last name, and a copy by name for scanning.
type names struct{}

func (names) Name() string    { return "names" }
func (names) Version() uint32 { return 1 }

func (names) Fold(w Writer, e *ledgerv1.Entry, payload proto.Message) error {
	id := e.GetSubjectId()
	old := &wrapperspb.StringValue{}
	had, err := w.Get("names", "of/"+id, old)
	if err != nil {
		return err
	}
	switch p := payload.(type) {
	case *wrapperspb.StringValue:
		if had {
			if err := w.Delete("names", "by/"+old.GetValue()+"/"+id); err != nil {
				return err
			}
		}
		if err := w.Put("names", "of/"+id, p); err != nil {
			return err
		}
		return w.Put("names", "by/"+p.GetValue()+"/"+id, &wrapperspb.StringValue{Value: id})
	case *wrapperspb.BoolValue:
		if !had {
			return nil
		}
		if err := w.Delete("names", "of/"+id); err != nil {
			return err
		}
		return w.Delete("names", "by/"+old.GetValue()+"/"+id)
	}
	return nil
}

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// config is a ledger for tests in a folder.
func config(dir string) Config {
	return Config{Dir: dir, Programme: "north", Site: "lab-1", Clock: clock.NewSet(noon), Views: []View{sums{}, names{}}, Logger: quiet(), CheckpointEvery: -1}
}

// open opens a ledger that is closed with the test.
func open(t testing.TB, c Config) *Ledger {
	t.Helper()
	l, err := Open(context.Background(), c)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// does makes a command of fixed events.
func does(request string, events ...Event) Command {
	return Command{Actor: "p-1", RequestID: request, Fingerprint: []byte(fmt.Sprint(events)), Decide: func(Reader) ([]Event, error) { return events, nil }}
}

func adds(subject string, n int64) Event { return Event{subject, wrapperspb.Int64(n)} }
func named(subject, name string) Event   { return Event{subject, wrapperspb.String(name)} }
func forgets(subject string) Event       { return Event{subject, wrapperspb.Bool(true)} }

func mustAppend(t testing.TB, l *Ledger, c Command) Receipt {
	t.Helper()
	r, err := l.Append(context.Background(), c)
	if err != nil {
		t.Fatalf("Append: %v", err)
	}
	return r
}

// sumOf reads a row of sums; -1 when there is none.
func sumOf(t testing.TB, l *Ledger, subject string) int64 {
	t.Helper()
	got := int64(-1)
	err := l.Read(context.Background(), nil, func(r Reader) error {
		v := &wrapperspb.Int64Value{}
		ok, err := r.Get("sums", subject, v)
		if got = -1; ok {
			got = v.GetValue()
		}
		return err
	})
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	return got
}

// mustBeClean fails the test when the checker finds anything.
func mustBeClean(t testing.TB, l *Ledger) Report {
	t.Helper()
	r, err := l.Check(context.Background())
	if err != nil {
		t.Fatalf("Check: %v", err)
	}
	if !r.Clean() {
		t.Fatalf("the ledger is not clean:\n%s", r)
	}
	return r
}

// mustRefuse fails the test unless err has the reason.
func mustRefuse(t testing.TB, err error, reason string) {
	t.Helper()
	if got := fault.Reason(err); got != reason {
		t.Fatalf("got %v, want a refusal with reason %s", err, reason)
	}
	if err != nil && !strings.HasSuffix(fault.From(err).Sentence, ".") {
		t.Errorf("the refusal is not a sentence: %q", fault.From(err).Sentence)
	}
}
