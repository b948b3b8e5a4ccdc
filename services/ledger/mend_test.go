package ledger

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"zonule/services/fault"
)

// wholeCopy is a Copy that holds a run of entries, from the first on.
type wholeCopy struct{ copyOf }

func (c wholeCopy) End(context.Context) (uint64, error) { return uint64(len(c.copyOf)), nil }

func (c wholeCopy) At(_ context.Context, sequence uint64) ([]byte, error) {
	if sequence < 1 || sequence > uint64(len(c.copyOf)) {
		return nil, errors.New("not here")
	}
	return c.copyOf[sequence-1].Bytes, nil
}

// What damage can be put right at the start when a copy is at hand: each entry missing or flipped, alone or with its tree
// hashes, while the views must be built again so that every entry is read.
func TestMendedAtStart(t *testing.T) {
	damages := map[string]func(*testing.T, *Ledger){
		"flipped":          func(t *testing.T, l *Ledger) { spoil(t, l, spaceEntry, sequenceKey(5), flip) },
		"missing":          func(t *testing.T, l *Ledger) { spoil(t, l, spaceEntry, sequenceKey(5), gone) },
		"the last missing": func(t *testing.T, l *Ledger) { spoil(t, l, spaceEntry, sequenceKey(12), gone) },
		"with its tree hashes": func(t *testing.T, l *Ledger) {
			spoil(t, l, spaceEntry, sequenceKey(8), gone)
			spoil(t, l, spaceHash, sequenceKey(8), gone)
		},
		"several, not in a row": func(t *testing.T, l *Ledger) {
			spoil(t, l, spaceEntry, sequenceKey(2), flip)
			spoil(t, l, spaceEntry, sequenceKey(9), gone)
		},
		"the last three, and hash": func(t *testing.T, l *Ledger) {
			for s := uint64(10); s <= 12; s++ {
				spoil(t, l, spaceEntry, sequenceKey(s), gone)
			}
			spoil(t, l, spaceHash, sequenceKey(12), flip)
		},
	}
	for name, damage := range damages {
		t.Run(name, func(t *testing.T) {
			c, l := spoilt(t)
			run, err := l.Stored(context.Background(), 1, 100)
			if err != nil {
				t.Fatal(err)
			}
			damage(t, l)
			spoil(t, l, spaceMeta, keyViews, gone)
			head := l.Head()
			l.Close()
			if _, err := Open(context.Background(), c); err == nil {
				t.Fatal("without a copy it opens; the damage shows nothing")
			}
			c.Source = wholeCopy{run}
			l = open(t, c)
			if l.Head() != head {
				t.Errorf("head %+v, want %+v", l.Head(), head)
			}
			mustBeClean(t, l)
		})
	}
}

// A copy that lies cannot change what the tree covers.
func TestLyingCopyIsNotBelieved(t *testing.T) {
	c, l := spoilt(t)
	run, err := l.Stored(context.Background(), 1, 100)
	if err != nil {
		t.Fatal(err)
	}
	spoil(t, l, spaceEntry, sequenceKey(5), gone)
	spoil(t, l, spaceHash, sequenceKey(5), gone)
	spoil(t, l, spaceMeta, keyViews, gone)
	l.Close()
	other := config(t.TempDir())
	o := open(t, other)
	for i := range 4 {
		mustAppend(t, o, does(fmt.Sprint("q-", i), adds("a", 7), adds("b", 7), named("a", "n")))
	}
	lies, err := o.Stored(context.Background(), 5, 1)
	if err != nil {
		t.Fatal(err)
	}
	run[4] = lies[0]
	c.Source = wholeCopy{run}
	if _, err := Open(context.Background(), c); fault.Code(err) == 0 {
		t.Error("a copy's other entry was taken")
	}
}

func TestScrub(t *testing.T) {
	cfg, l := spoilt(t)
	run, err := l.Stored(context.Background(), 1, 100)
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	cfg.Source = wholeCopy{run}
	l = open(t, cfg)
	spoil(t, l, spaceEntry, sequenceKey(3), flip)
	spoil(t, l, spaceEntry, sequenceKey(7), gone)
	spoil(t, l, spaceHash, sequenceKey(2), flip) // not on the frontier: opening would not see it
	spoil(t, l, spaceHash, sequenceKey(6), gone)
	entries, hashes, err := l.Scrub(context.Background())
	if entries != 2 || hashes != 2 || err != nil {
		t.Errorf("put right %d entries and %d hashes, %v", entries, hashes, err)
	}
	mustBeClean(t, l)
	if entries, hashes, err = l.Scrub(context.Background()); entries != 0 || hashes != 0 || err != nil {
		t.Errorf("of a whole ledger it put right %d and %d, %v", entries, hashes, err)
	}
	l.source = nil
	spoil(t, l, spaceEntry, sequenceKey(3), flip)
	_, _, err = l.Scrub(context.Background())
	mustRefuse(t, err, "ENTRY_DAMAGED")
	l.source = copyOf(nil)
	_, _, err = l.Scrub(context.Background())
	mustRefuse(t, err, "ENTRY_DAMAGED")
}

// A store that lost everything is not begun anew over the loss.
func TestEmptiedStoreIsRefused(t *testing.T) {
	c, l := spoilt(t)
	for _, space := range []string{spaceMeta, spaceEntry, spaceHash, spacePin} {
		var keys []string
		if err := l.current.walk(space, "", "", 0, func(key string, _, _ []byte) (bool, error) { keys = append(keys, key); return true, nil }); err != nil {
			t.Fatal(err)
		}
		for _, key := range keys {
			spoil(t, l, space, key, gone)
		}
	}
	for _, v := range l.current.views {
		if err := l.sweep(v.name, 0); err != nil {
			t.Fatal(err)
		}
	}
	l.Close()
	_, err := Open(context.Background(), c)
	mustRefuse(t, err, "STORE_EMPTY")
}
