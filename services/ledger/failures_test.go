package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/dgraph-io/badger/v4"
)

var errDisk = errors.New("input/output error")

// A durable write can fail in two ways: nothing of it is kept, or it is kept although it was said to have failed. failing
// says how one kind of write is made to fail, and what must then be true.
type failing struct {
	name string
	// fail makes the next writes of the kind fail; heal ends that.
	fail func(l *Ledger, kept bool) (heal func())
	// attempt does what writes, and gives its error.
	attempt func(l *Ledger) error
	// reason is what whoever asked is told.
	reason string
	// goesOn says whether other commands are recorded meanwhile; otherwise all wait for the ledger to be opened again.
	goesOn bool
	// done says, after the ledger was opened again, whether the write took place.
	done func(t *testing.T, l *Ledger) bool
}

// failCommits makes commits fail.
func failCommits(l *Ledger, kept bool) func() {
	was := l.sync
	l.sync = func(txn *badger.Txn) error {
		if !kept {
			return errDisk
		}
		return errors.Join(was(txn), errDisk)
	}
	return func() { l.sync = was }
}

// failFlush makes the sync of the log fail after the commit was written, as a disk does that lies or is pulled out. What
// was written can then be read after all, as the system still has it.
func failFlush(l *Ledger, kept bool) func() {
	was := l.disk.flush
	l.disk.flush = func(f *os.File) error {
		if kept {
			return errors.Join(was(f), errDisk)
		}
		return errDisk
	}
	return func() { l.disk.flush = was }
}

// failKeys makes the rewriting of the key file fail: before the rename, or behind it.
func failKeys(l *Ledger, kept bool) func() {
	was := l.keys.write
	l.keys.write = func(path string, b []byte) error {
		if kept {
			return errors.Join(was(path, b), errDisk)
		}
		return errors.Join(os.WriteFile(path+".new", b[:len(b)/2], 0o600), errDisk)
	}
	return func() { l.keys.write = was }
}

func appending(l *Ledger) error {
	_, err := l.Append(context.Background(), does("the-one", adds("x", 1)))
	return err
}

func recordedOnce(t *testing.T, l *Ledger) bool {
	t.Helper()
	switch got := sumOf(t, l, "x"); got {
	case 1:
		return true
	case -1:
		return false
	default:
		t.Fatalf("recorded %d times", got)
		return false
	}
}

// writeFailures is the table: every durable write of a ledger.
func writeFailures() []failing {
	cursor := func(t *testing.T, l *Ledger) bool {
		at, _, err := l.Cursor("copy")
		if err != nil {
			t.Fatal(err)
		}
		return at == 2
	}
	return []failing{
		{name: "a command's commit", fail: failCommits, attempt: appending, reason: "STORE_FAILED", done: recordedOnce},
		{name: "the sync of the log", fail: failFlush, attempt: appending, reason: "STORE_FAILED", done: recordedOnce},
		{name: "a cursor", fail: failCommits, attempt: func(l *Ledger) error { return l.SetCursor("copy", 2) }, reason: "STORE_FAILED", done: cursor},
		{name: "an entry put back", fail: failCommits, reason: "STORE_FAILED", attempt: func(l *Ledger) error {
			return l.inWriter(context.Background(), func() error {
				r, _, err := l.current.get(spaceEntry, sequenceKey(1))
				return errors.Join(err, l.putBack(1, bytes.Clone(r.value)))
			})
		}, done: func(*testing.T, *Ledger) bool { return true }},
		{name: "a view built again", fail: failCommits, reason: "STORE_FAILED", attempt: func(l *Ledger) error {
			_, err := l.Rebuild(context.Background(), "sums")
			return err
		}, done: func(t *testing.T, l *Ledger) bool { return sumOf(t, l, "a") == 3 }},
		{name: "a new person's key", fail: failKeys, reason: "KEY_NOT_STORED", goesOn: true, attempt: func(l *Ledger) error {
			_, _, err := l.Seal("ben", []byte("Ben"))
			return err
		}, done: func(t *testing.T, l *Ledger) bool {
			key, _ := l.keys.key("ben")
			return key != nil
		}},
		{name: "the destruction of a key", fail: failKeys, reason: "KEY_NOT_DESTROYED", goesOn: true, attempt: func(l *Ledger) error { return l.Erase("ada") }, done: func(t *testing.T, l *Ledger) bool {
			_, err := l.Unseal("ada")
			if err != nil {
				mustRefuse(t, err, "PERSON_ERASED")
			}
			return err != nil
		}},
	}
}

// TestWriteFailures goes through the table, each write failing both ways. Whoever asked must be told that it is not sure;
// what was recorded before must be readable; opening the ledger again must find out how it was, whole; and asking again
// must come to the write having taken place once.
func TestWriteFailures(t *testing.T) {
	for _, w := range writeFailures() {
		for _, kept := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s/kept=%v", w.name, kept), func(t *testing.T) {
				cfg := config(t.TempDir())
				l := open(t, cfg)
				before(t, l)
				var heal func()
				inside(t, l, func() { heal = w.fail(l, kept) })
				mustRefuse(t, w.attempt(l), w.reason)
				if got := sumOf(t, l, "a"); got != 3 {
					t.Errorf("meanwhile reads give %d, want 3", got)
				}
				if l.broken == nil != w.goesOn {
					t.Errorf("the ledger goes on: %v, want %v", l.broken == nil, w.goesOn)
				}
				inside(t, l, heal)
				_, err := l.Append(context.Background(), does("other", adds("y", 1)))
				if (err == nil) != w.goesOn {
					t.Errorf("another command meanwhile: %v", err)
				}
				l.Close()
				l = open(t, cfg)
				mustBeClean(t, l)
				if got := w.done(t, l); w.fails(kept) && got != kept {
					t.Errorf("after opening again it took place: %v, want %v", got, kept)
				}
				if err := w.attempt(l); err != nil {
					t.Errorf("asked again: %v", err)
				}
				if !w.done(t, l) {
					t.Error("asked again it did not take place")
				}
				mustAppend(t, l, does("other", adds("y", 1)))
				if got := sumOf(t, l, "y"); got != 1 {
					t.Errorf("the other command was recorded %d times", got)
				}
				mustBeClean(t, l)
			})
		}
	}
}

// fails says whether what is on disk afterwards shows how the write went: a log that is not synced is not lost as long as
// the machine runs, and what repeats itself shows nothing.
func (w failing) fails(kept bool) bool {
	return kept || w.name != "the sync of the log" && w.name != "an entry put back" && w.name != "a view built again"
}

// before records what must stay.
func before(t *testing.T, l *Ledger) {
	t.Helper()
	sealed, commitment, err := l.Seal("ada", []byte("Ada"))
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, Command{Actor: "p-1", RequestID: "ada", Private: []Sealed{sealed}, Decide: func(Reader) ([]Event, error) {
		return []Event{named("ada", fmt.Sprintf("%x", commitment))}, nil
	}})
	mustAppend(t, l, does("before", adds("a", 3)))
}

// limited is a disk that takes so many bytes.
type limited struct{ left int }

func (w *limited) Write(b []byte) (int, error) {
	if w.left -= len(b); w.left < 0 {
		return 0, errDisk
	}
	return len(b), nil
}

// An export that cannot be written says so, and one that is written to a file leaves no half of it.
func TestExportFails(t *testing.T) {
	_, l := peopled(t)
	_, err := l.Export(context.Background(), &limited{left: 100})
	mustRefuse(t, err, "EXPORT_NOT_WRITTEN")
	dir := t.TempDir()
	_, err = l.ExportFile(context.Background(), filepath.Join(dir, "no", "such.zonule-export"))
	mustRefuse(t, err, "EXPORT_NOT_WRITTEN")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := l.ExportFile(ctx, filepath.Join(dir, "a.zonule-export")); err == nil {
		t.Error("an export was made after its time")
	}
	if held, _ := os.ReadDir(dir); len(held) != 0 {
		t.Errorf("left behind: %v", held)
	}
}
