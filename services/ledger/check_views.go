package ledger

import (
	"bytes"
	"context"
	"fmt"
	"os"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// spillBytes is how much of a fresh fold is kept in memory before it goes to a temporary store.
const spillBytes = 64 << 20

// scratchPattern names the temporary folders of checks; Open clears away what a stopped program left.
const scratchPattern = "check-*.tmp"

// views folds all entries anew and compares the rows with the stored ones.
func (c *checker) views(ctx context.Context) error {
	scratch := &scratch{near: c.l.dir, encrypted: c.l.encrypted}
	defer scratch.close()
	fresh := &stage{site: c.l.site, log: c.l.log, folds: c.l.views, ill: &illness{}}
	for i := range c.l.views {
		v := c.snap.views[i]
		fresh.views = append(fresh.views, emptyView(v.name, v.version, v.generation))
	}
	fresh.layer = newLayer(scratch)
	err := c.snap.decoded(ctx, 1, func(e *ledgerv1.Entry, payload proto.Message) error {
		if err := fresh.fold(e, payload); err != nil {
			return err
		}
		return scratch.spill(fresh.layer)
	})
	if ctx.Err() != nil {
		return outOfTime(ctx, "The time was over while checking the ledger.")
	}
	for i, stored := range c.snap.views {
		if i >= len(fresh.views) {
			c.say(Verdict{What: "view " + stored.name, Holds: true, Sentence: "not checked; this program does not know the view."})
			continue
		}
		v := verdict{what: "view " + stored.name}
		if err != nil {
			v.fault("It cannot be compared, because the entries cannot be folded: %v.", outward(err))
		} else {
			c.compare(&v, stored, fresh.views[i], fresh.layer)
		}
		c.say(v.close("its %d rows are what a fresh fold gives.", stored.rows))
	}
	return nil
}

// compare goes through the rows of a fresh fold and the stored ones side by side.
func (c *checker) compare(v *verdict, stored, fresh viewState, folded *layer) {
	if stored.position != c.snap.total() {
		v.fault("It stands at entry %d of %d.", stored.position, c.snap.total())
		return
	}
	if stored.rows != fresh.rows || stored.sum != fresh.sum {
		v.fault("It should have %d rows (sum %d); its record says %d (sum %d).", fresh.rows, fresh.sum, stored.rows, stored.sum)
	}
	found := uint64(0)
	err := c.snap.walk(stored.space, "", "", 0, func(key string, full, value []byte) (bool, error) {
		found++
		r, ok := openRow(full, value)
		want, has, err := folded.get(fresh.space, key)
		switch {
		case err != nil:
			return false, err
		case !ok:
			v.fault("Its row %q fails its checksum.", key)
		case !has:
			v.fault("Its row %q should not be there.", key)
		case !bytes.Equal(want.value, r.value):
			v.fault("Its row %q is not what a fresh fold gives.", key)
		}
		return true, nil
	})
	if err != nil {
		v.fault("It cannot be read: %v.", err)
	}
	if found != fresh.rows {
		v.fault("It has %d rows and should have %d.", found, fresh.rows)
	}
}

// scratch is where a fresh fold lies: nowhere, and then in a temporary store of its own once it is large.
type scratch struct {
	near      string // the folder to make a temporary one in
	encrypted bool   // under a key that is thrown away with it
	dir       string
	db        *badger.DB
	snap      *snapshot
}

func (s *scratch) get(space, key string) (row, bool, error) {
	if s.snap == nil {
		return row{}, false, nil
	}
	return s.snap.get(space, key)
}

func (s *scratch) scan(space, prefix, after string, expect int, f func(string, row) (bool, error)) error {
	if s.snap == nil {
		return nil
	}
	return s.snap.scan(space, prefix, after, expect, f)
}

// spill moves a layer that has become large into the temporary store.
func (s *scratch) spill(l *layer) error {
	if l.bytes < spillBytes && l.count < spillBytes/128 {
		return nil
	}
	if s.db == nil {
		dir, err := os.MkdirTemp(s.near, scratchPattern)
		if err != nil {
			return fmt.Errorf("there is no room for a fresh fold: %w", err)
		}
		s.dir = dir
		o := badger.DefaultOptions(dir).WithLogger(nil).WithMetricsEnabled(false).WithDetectConflicts(false)
		if s.encrypted {
			o = o.WithEncryptionKey(newKey()).WithIndexCacheSize(indexCacheBytes).WithBlockCacheSize(blockCacheBytes)
		}
		if s.db, err = badger.Open(o); err != nil {
			return err
		}
	}
	w := s.db.NewWriteBatch()
	defer w.Cancel()
	err := l.each(func(_, _ string, c change) error {
		if c.stored == nil {
			return w.Delete(c.full)
		}
		return w.Set(c.full, c.stored)
	})
	if err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return err
	}
	l.empty()
	if s.snap != nil {
		s.snap.txn.Discard()
	}
	s.snap = &snapshot{txn: s.db.NewTransaction(false)}
	return nil
}

func (s *scratch) close() {
	if s.snap != nil {
		s.snap.txn.Discard()
	}
	if s.db != nil {
		s.db.Close()
	}
	if s.dir != "" {
		os.RemoveAll(s.dir)
	}
}
