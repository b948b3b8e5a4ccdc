package ledger

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/dgraph-io/badger/v4"
)

// TestFailingDisk has commits fail in the ways they can: lost, kept although they failed, and too big a transaction.
// However it went, the one asked must have got the truth or "unknown", and reopening finds out.
func TestFailingDisk(t *testing.T) {
	cases := []struct {
		name string
		sync func(*badger.Txn) error
		kept bool
	}{
		{"lost", func(*badger.Txn) error { return errors.New("no space left") }, false},
		{"kept although it failed", func(txn *badger.Txn) error { return errors.Join(txn.Commit(), errors.New("input/output error")) }, true},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			cfg := config(t.TempDir())
			l := open(t, cfg)
			mustAppend(t, l, does("q-1", adds("a", 1)))
			commit := l.sync
			l.sync = c.sync
			_, errs := oneBatch(t, l, does("q-2", adds("a", 10)), does("q-3", adds("a", 100)))
			for _, err := range errs {
				mustRefuse(t, err, "STORE_FAILED")
			}
			if got := sumOf(t, l, "a"); got != 1 {
				t.Errorf("before it is known, reads give %d, want 1", got)
			}
			l.sync = commit
			_, err := l.Append(context.Background(), does("q-4", adds("a", 1000)))
			mustRefuse(t, err, "STORE_FAILED") // the disk is well again, but the ledger does not know where it stands
			if err := l.SetCursor("copy", 1); err == nil {
				t.Error("a cursor was written by a ledger that does not know where it stands")
			}
			l.Close()

			l = open(t, cfg)
			for i, n := range []int64{10, 100} {
				if r := mustAppend(t, l, does(fmt.Sprint("q-", i+2), adds("a", n))); r.Repeated != c.kept {
					t.Errorf("asked again: repeated %v, want %v", r.Repeated, c.kept)
				}
			}
			if got := sumOf(t, l, "a"); got != 111 {
				t.Errorf("sum %d, want 111", got)
			}
			mustBeClean(t, l)
		})
	}
}

// TestTransactionTooBig has Badger refuse what the ledger thought would fit: the batch is split, and only a command that
// is too big alone is refused.
func TestTransactionTooBig(t *testing.T) {
	l := open(t, config(t.TempDir()))
	commit := l.sync
	commits := 0
	l.sync = func(txn *badger.Txn) error {
		if commits++; commits <= 3 { // all eight, the first four, the first two
			return badger.ErrTxnTooBig
		}
		return commit(txn)
	}
	var commands []Command
	for i := range 8 {
		commands = append(commands, does(fmt.Sprint("q-", i), adds("a", 1)))
	}
	_, errs := oneBatch(t, l, commands...)
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	if got := sumOf(t, l, "a"); got != 8 {
		t.Errorf("sum %d, want 8", got)
	}
	l.sync = func(*badger.Txn) error { return badger.ErrTxnTooBig }
	_, err := l.Append(context.Background(), does("q-9", adds("a", 1)))
	mustRefuse(t, err, "COMMAND_TOO_LARGE")
	l.sync = commit
	mustAppend(t, l, does("q-9", adds("a", 1)))
	mustBeClean(t, l)
}

// TestFailureWhileTheNextBatchIsDecided fails a commit on top of which another batch was decided already.
func TestFailureWhileTheNextBatchIsDecided(t *testing.T) {
	for name, failure := range map[string]error{"disk": errors.New("input/output error"), "too big": badger.ErrTxnTooBig} {
		t.Run(name, func(t *testing.T) {
			cfg := config(t.TempDir())
			l := open(t, cfg)
			commit := l.sync
			flying, decided := make(chan struct{}), make(chan struct{})
			first := true
			l.sync = func(txn *badger.Txn) error {
				if !first {
					return commit(txn)
				}
				first = false
				close(flying)
				<-decided
				return failure
			}
			outcomes := make(chan error, 3)
			go func() {
				_, errs := oneBatch(t, l, does("q-1", adds("a", 1)), does("q-2", adds("a", 1)))
				outcomes <- errs[0]
				outcomes <- errs[1]
			}()
			<-flying
			go func() {
				_, err := l.Append(context.Background(), Command{Actor: "p", RequestID: "q-3", Decide: func(r Reader) ([]Event, error) {
					select {
					case <-decided:
					default:
						close(decided)
					}
					return []Event{adds("b", int64(r.Position().GetSequence()))}, nil
				}})
				outcomes <- err
			}()
			for range 3 {
				err := <-outcomes
				if name == "disk" {
					mustRefuse(t, err, "STORE_FAILED")
				} else if err != nil {
					t.Error(err)
				}
			}
			if name == "disk" {
				l.Close()
				l = open(t, cfg)
				if l.Head().Size != 0 {
					t.Errorf("%d entries were kept", l.Head().Size)
				}
			} else if got := sumOf(t, l, "b"); got != 2 {
				t.Errorf("the later command was decided at %d, want 2", got)
			}
			mustBeClean(t, l)
		})
	}
}
