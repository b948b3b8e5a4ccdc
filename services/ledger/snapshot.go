package ledger

import (
	"bytes"
	"errors"
	"sync/atomic"

	"github.com/dgraph-io/badger/v4"
)

// snapshot is the store as one commit left it. Readers share it: the writer puts a new one in its place after each
// commit, and the last to let go of the old one closes it. So a read never waits for a write.
type snapshot struct {
	txn   *badger.Txn
	head  Head
	views []viewState
	place places
	users atomic.Int64
	gone  func() // called once, when the last user has let go
}

// release lets go of the snapshot.
func (s *snapshot) release() {
	if s.users.Add(-1) == 0 {
		s.txn.Discard()
		s.gone()
	}
}

func (s *snapshot) get(space, key string) (r row, ok bool, err error) {
	defer surviveStore(nil, func() { r, ok, err = row{}, false, &damagedRow{space, key} })
	full := []byte(space + key)
	item, err := s.txn.Get(full)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return row{}, false, nil
	}
	if err != nil {
		return row{}, false, err
	}
	stored, err := item.ValueCopy(nil)
	if err != nil {
		return row{}, false, err
	}
	r, ok = openRow(full, stored)
	if !ok {
		return row{}, false, &damagedRow{space, key}
	}
	return r, true, nil
}

// surviveStore, deferred, turns a panic of the store, which meets damaged files with one, into whatever failed does. A
// panic of the caller's own function goes on: theirs says whether it was being called.
func surviveStore(theirs *bool, failed func()) {
	if theirs != nil && *theirs {
		return
	}
	if recover() != nil {
		failed()
	}
}

func (s *snapshot) scan(space, prefix, after string, expect int, f func(string, row) (bool, error)) error {
	return s.walk(space, prefix, after, expect, func(key string, full, stored []byte) (bool, error) {
		r, ok := openRow(full, stored)
		if !ok {
			return false, &damagedRow{space, key}
		}
		return f(key, r)
	})
}

// walk is scan before the verification.
func (s *snapshot) walk(space, prefix, after string, expect int, f func(key string, full, stored []byte) (bool, error)) error {
	options := badger.DefaultIteratorOptions
	options.Prefix = []byte(space + prefix)
	if expect > 0 && expect < options.PrefetchSize {
		options.PrefetchSize = expect + 1
	}
	from := options.Prefix
	if after > prefix {
		from = []byte(space + after)
	}
	return iterate(s.txn, options, from, func(full, stored []byte) (more bool, err error) {
		key := string(full[len(space):])
		if key <= after && after != "" {
			return true, nil
		}
		return f(key, full, stored)
	})
}

// iterate calls f with the keys from one on, and their stored values if they are fetched, both valid until f returns. A
// store that panics, or gives keys out of order (it does so when a key
// is damaged, and may go round in circles), is damaged at the place it came to.
func iterate(txn *badger.Txn, options badger.IteratorOptions, from []byte, f func(full, stored []byte) (more bool, err error)) (err error) {
	theirs, last := false, append([]byte(nil), from...)
	damaged := func() { err = &damagedRow{string(options.Prefix), string(last)} }
	defer surviveStore(&theirs, damaged)
	fetch := options.PrefetchValues // here, not by the store in goroutines of its own: a panic there could not be survived
	options.PrefetchValues = false
	it := txn.NewIterator(options)
	defer it.Close()
	first := true
	for it.Seek(from); it.Valid(); it.Next() {
		item, stored := it.Item(), []byte(nil)
		if order := bytes.Compare(item.Key(), last); order < 0 || order == 0 && !first {
			damaged()
			return err
		}
		first, last = false, append(last[:0], item.Key()...)
		if fetch { // kept by the item until the iterator moves on
			if err := item.Value(func(v []byte) error { stored = v; return nil }); err != nil {
				return err
			}
		}
		theirs = true
		more, err := f(item.Key(), stored)
		theirs = false
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// count says how many keys begin with the space.
func (s *snapshot) count(space string) (n uint64, err error) {
	options := badger.DefaultIteratorOptions
	options.Prefix, options.PrefetchValues = []byte(space), false
	err = iterate(s.txn, options, options.Prefix, func([]byte, []byte) (bool, error) {
		n++
		return true, nil
	})
	return n, err
}
