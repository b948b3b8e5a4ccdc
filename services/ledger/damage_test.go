package ledger

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// spoil changes a stored value behind the ledger's back; nil takes the row away.
func spoil(t *testing.T, l *Ledger, space, key string, change func(stored []byte) []byte) {
	t.Helper()
	full := []byte(space + key)
	err := l.inWriter(context.Background(), func() error {
		err := l.db.Update(func(txn *badger.Txn) error {
			item, err := txn.Get(full)
			if err != nil {
				return err
			}
			stored, err := item.ValueCopy(nil)
			if err != nil {
				return err
			}
			if stored = change(stored); stored == nil {
				return txn.Delete(full)
			}
			return txn.Set(full, stored)
		})
		l.cache = newCache()
		l.publish(l.current.head, l.current.views)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func flip(stored []byte) []byte { stored[len(stored)-1] ^= 1; return stored }
func gone([]byte) []byte        { return nil }

// mustBeBad fails the test unless exactly these verdicts are bad.
func mustBeBad(t *testing.T, l *Ledger, want ...string) {
	t.Helper()
	r, err := l.Check(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var bad []string
	for _, v := range r.Verdicts {
		if !v.Holds {
			bad = append(bad, v.What)
		}
		if !strings.HasSuffix(v.Sentence, ".") {
			t.Errorf("%s: not a sentence: %q", v.What, v.Sentence)
		}
	}
	if fmt.Sprint(bad) != fmt.Sprint(want) {
		t.Errorf("bad are %v, want %v:\n%s", bad, want, r)
	}
}

// spoilt makes a ledger of twelve entries.
func spoilt(t *testing.T) (Config, *Ledger) {
	c := config(t.TempDir())
	l := open(t, c)
	for i := range 4 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), adds("a", 1), adds("b", 2), named("a", fmt.Sprint("n-", i))))
	}
	return c, l
}

func sumsSpace(l *Ledger) string { return l.current.views[1].space }

func TestDamagedViewRowIsRebuilt(t *testing.T) {
	for name, change := range map[string]func([]byte) []byte{
		"a bit flipped": flip, "cut short": func(b []byte) []byte { return b[:2] }, "empty": func([]byte) []byte { return []byte{} },
	} {
		t.Run(name, func(t *testing.T) {
			_, l := spoilt(t)
			spoil(t, l, sumsSpace(l), "a", change)
			mustBeBad(t, l, "checksums", "view sums")
			if got := sumOf(t, l, "a"); got != 4 {
				t.Errorf("read %d, want 4", got)
			}
			mustBeClean(t, l)

			spoil(t, l, sumsSpace(l), "a", change) // now met by a fold
			mustAppend(t, l, does("more", adds("a", 1)))
			mustBeClean(t, l)

			spoil(t, l, sumsSpace(l), "b", change) // now by a scan in a decision, whose error is swallowed
			mustAppend(t, l, Command{Actor: "p", Decide: func(r Reader) ([]Event, error) {
				n := int64(0)
				r.Scan("sums", "", "", 0, func(string, []byte) error { n++; return nil })
				return []Event{adds("rows", n)}, nil
			}})
			if got := sumOf(t, l, "rows"); got != 2 {
				t.Errorf("the decision saw %d rows, want 2", got)
			}
			mustBeClean(t, l)
		})
	}
}

// What a running ledger does not see, it sees when opened: a row that is missing, one too many, and one that is an old
// version of itself.
func TestOpenNoticesWrongRows(t *testing.T) {
	old := []byte(nil)
	cases := map[string]func(t *testing.T, l *Ledger){
		"missing": func(t *testing.T, l *Ledger) { spoil(t, l, sumsSpace(l), "a", gone) },
		"damaged": func(t *testing.T, l *Ledger) { spoil(t, l, sumsSpace(l), "a", flip) },
		"old": func(t *testing.T, l *Ledger) {
			spoil(t, l, sumsSpace(l), "a", func(b []byte) []byte { old = append([]byte(nil), b...); return b })
			mustAppend(t, l, does("later", adds("a", 1)))
			spoil(t, l, sumsSpace(l), "a", func([]byte) []byte { return old })
			mustBeBad(t, l, "view sums")
		},
		"under another key": func(t *testing.T, l *Ledger) {
			spoil(t, l, sumsSpace(l), "a", func(b []byte) []byte { old = append([]byte(nil), b...); return b })
			spoil(t, l, sumsSpace(l), "b", func([]byte) []byte { return old })
			mustBeBad(t, l, "checksums", "view sums")
		},
		"no record of views": func(t *testing.T, l *Ledger) { spoil(t, l, spaceMeta, keyViews, flip) },
		"bad head":           func(t *testing.T, l *Ledger) { spoil(t, l, spaceMeta, keyHead, flip) },
		"no head":            func(t *testing.T, l *Ledger) { spoil(t, l, spaceMeta, keyHead, gone) },
		"bad tree hash":      func(t *testing.T, l *Ledger) { spoil(t, l, spaceHash, sequenceKey(8), flip) },
		"no tree hash":       func(t *testing.T, l *Ledger) { spoil(t, l, spaceHash, sequenceKey(12), gone) },
	}
	for name, damage := range cases {
		t.Run(name, func(t *testing.T) {
			c, l := spoilt(t)
			damage(t, l)
			head, want := l.Head(), sumOf(t, l, "b")
			l.Close()
			l = open(t, c)
			if l.Head() != head {
				t.Errorf("head %+v, want %+v", l.Head(), head)
			}
			if got := sumOf(t, l, "b"); name != "under another key" && got != want {
				t.Errorf("sum %d, want %d", got, want)
			}
			mustBeClean(t, l)
			mustAppend(t, l, does("after", adds("a", 1)))
			mustBeClean(t, l)
		})
	}
}

// copyOf is a Source that holds a run of entries.
type copyOf []Stored

func (c copyOf) Entry(_ context.Context, sequence uint64, leaf [32]byte) ([]byte, error) {
	for _, one := range c {
		if one.Sequence == sequence && one.Leaf == leaf {
			return one.Bytes, nil
		}
	}
	return nil, errors.New("not here")
}

func TestDamagedEntryIsNamedAndRefused(t *testing.T) {
	another := func(t *testing.T, l *Ledger) func([]byte) []byte { // a valid row that is not what the tree covers
		return func(stored []byte) []byte {
			b := append([]byte(nil), stored...)
			b[len(b)-1] ^= 1
			closeRow([]byte(spaceEntry+sequenceKey(5)), b)
			return b
		}
	}
	cases := []struct {
		name   string
		change func(t *testing.T, l *Ledger) func([]byte) []byte
		bad    []string
	}{
		{"damaged", func(*testing.T, *Ledger) func([]byte) []byte { return flip }, []string{"checksums", "entries", "tree", "view ledger.requests", "view sums", "view names"}},
		{"missing", func(*testing.T, *Ledger) func([]byte) []byte { return gone }, []string{"entries", "tree", "view ledger.requests", "view sums", "view names"}},
		{"rewritten", another, nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			cfg, l := spoilt(t)
			whole, err := l.Stored(context.Background(), 1, 100)
			if err != nil {
				t.Fatal(err)
			}
			spoil(t, l, spaceEntry, sequenceKey(5), c.change(t, l))
			if c.bad != nil {
				mustBeBad(t, l, c.bad...)
			} else if r, err := l.Check(context.Background()); err != nil || r.Clean() {
				t.Errorf("the check found nothing: %v", err)
			}
			entries, err := l.Entries(context.Background(), 1, 4)
			if err != nil || len(entries) != 4 {
				t.Errorf("the entries before it: %d, %v", len(entries), err)
			}
			_, err = l.Entries(context.Background(), 1, 12)
			mustRefuse(t, err, "ENTRY_DAMAGED")
			if fault.From(err).Meta["sequence"] != "5" {
				t.Errorf("it names %v", fault.From(err).Meta)
			}
			l.Follow(context.Background(), 1, func(e *ledgerv1.Entry) error {
				if e.GetSequence() >= 5 {
					t.Errorf("followed to entry %d", e.GetSequence())
				}
				return nil
			})
			l.Close()

			cfg.Source = copyOf(whole[:4]) // a copy that does not have it
			l = open(t, cfg)
			_, err = l.Entries(context.Background(), 1, 12)
			mustRefuse(t, err, "ENTRY_DAMAGED")
			l.Close()

			cfg.Source = copyOf(whole)
			l = open(t, cfg)
			if entries, err := l.Entries(context.Background(), 1, 12); err != nil || len(entries) != 12 {
				t.Errorf("with a copy at hand: %d entries, %v", len(entries), err)
			}
			mustBeClean(t, l)
		})
	}
}

func TestLostEndIsRefused(t *testing.T) {
	c, l := spoilt(t)
	if err := l.SetCursor("copy", 12); err != nil {
		t.Fatal(err)
	}
	spoil(t, l, spaceEntry, sequenceKey(12), gone)
	l.Close()
	_, err := Open(context.Background(), c)
	mustRefuse(t, err, "END_DISAGREES")

	c, l = spoilt(t)
	if err := l.SetCursor("copy", 12); err != nil {
		t.Fatal(err)
	}
	cursor := storedRow([]byte(sequenceKey(13)))
	closeRow([]byte(spaceCursor+"copy"), cursor)
	spoil(t, l, spaceCursor, "copy", func([]byte) []byte { return cursor })
	mustBeBad(t, l, "cursors")
	l.Close()
	_, err = Open(context.Background(), c)
	mustRefuse(t, err, "END_MISSING")
}

func TestForeignRowsAreFound(t *testing.T) {
	_, l := spoilt(t)
	err := l.inWriter(context.Background(), func() error {
		changes := newLayer(nil)
		changes.put("x", "y", storedRow([]byte("z")))
		changes.put(spaceEntry, sequenceKey(13), storedRow([]byte("z")))
		changes.put(viewSpace("sums", 9), "y", storedRow([]byte("z")))
		if err := l.store(changes); err != nil {
			return err
		}
		l.publish(l.current.head, l.current.views)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	mustBeBad(t, l, "keys", "head")
}

// TestFlippedBitsInFiles flips single bits in Badger's own files while the ledger is closed. Whatever is answered
// afterwards must be right; everything else must be refused with an error or found by the check.
func TestFlippedBitsInFiles(t *testing.T) {
	rounds, seed := 40, uint64(7)
	if n, err := strconv.Atoi(os.Getenv("ZONULE_FLIPS")); err == nil { // more, and others
		rounds, seed = n, uint64(n)
	}
	source := config(t.TempDir())
	l := open(t, source)
	for i := range 300 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), adds(fmt.Sprint("s-", i%50), int64(i)), named(fmt.Sprint("s-", i%50), fmt.Sprint("name-", i))))
	}
	head := l.Head()
	want := map[string]int64{}
	for i := range 50 {
		want[fmt.Sprint("s-", i)] = sumOf(t, l, fmt.Sprint("s-", i))
	}
	whole, err := l.Stored(context.Background(), 1, 1000)
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	random := rand.New(rand.NewPCG(seed, 11))
	outcomes := map[string]int{}
	for range rounds {
		dir := t.TempDir()
		copyFolder(t, source.Dir, dir)
		tables, _ := filepath.Glob(filepath.Join(dir, storeFolder, "*.sst"))
		if len(tables) == 0 {
			t.Fatal("the ledger has no table files")
		}
		name := tables[random.IntN(len(tables))]
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		at := random.IntN(len(b))
		b[at] ^= 1 << random.IntN(8)
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
		outcomes[flipped(t, config(dir), fmt.Sprintf("byte %d of %d", at, len(b)), head, want, whole)]++
	}
	t.Logf("outcomes of %d flipped bits: %v", rounds, outcomes)
}

// flipped opens a ledger one bit of which was flipped and tests every answer it gives.
func flipped(t *testing.T, c Config, where string, head Head, want map[string]int64, whole []Stored) string {
	l, err := Open(context.Background(), c)
	if err != nil {
		return "refused to open"
	}
	defer l.Close()
	if l.Head() != head {
		t.Errorf("%s: head %+v, want %+v", where, l.Head(), head)
	}
	answered := true
	for subject, sum := range want {
		v := &wrapperspb.Int64Value{}
		err := l.Read(context.Background(), nil, func(r Reader) error {
			ok, err := r.Get("sums", subject, v)
			if err == nil && (!ok || v.GetValue() != sum) {
				t.Errorf("%s: sum of %s is %v %d, want %d", where, subject, ok, v.GetValue(), sum)
			}
			return err
		})
		answered = answered && err == nil
	}
	run, err := l.Stored(context.Background(), 1, 1000)
	if err == nil {
		for i := range whole {
			if string(run[i].Bytes) != string(whole[i].Bytes) {
				t.Errorf("%s: entry %d is not what it was", where, i+1)
			}
		}
	}
	r, checkErr := l.Check(context.Background())
	switch {
	case err != nil && checkErr == nil && r.Clean():
		t.Errorf("%s: an entry is refused (%v) but the check finds nothing", where, err)
	case err != nil:
		return "an entry named and refused"
	case !answered:
		return "a view refused"
	case checkErr != nil || !r.Clean():
		return "answered, check found it"
	}
	return "whole, or put right"
}

func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}
