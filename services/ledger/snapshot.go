package ledger

import (
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

func (s *snapshot) get(space, key string) (row, bool, error) {
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
	r, ok := openRow(full, stored)
	if !ok {
		return row{}, false, &damagedRow{space, key}
	}
	return r, true, nil
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
	it := s.txn.NewIterator(options)
	defer it.Close()
	from := options.Prefix
	if after > prefix {
		from = []byte(space + after)
	}
	for it.Seek(from); it.Valid(); it.Next() {
		item := it.Item()
		key := string(item.Key()[len(space):])
		if key <= after && after != "" {
			continue
		}
		more := false
		err := item.Value(func(stored []byte) (err error) {
			more, err = f(key, item.Key(), stored)
			return err
		})
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// count says how many keys begin with the space.
func (s *snapshot) count(space string) (uint64, error) {
	options := badger.DefaultIteratorOptions
	options.Prefix = []byte(space)
	options.PrefetchValues = false
	it := s.txn.NewIterator(options)
	defer it.Close()
	n := uint64(0)
	for it.Rewind(); it.Valid(); it.Next() {
		n++
	}
	return n, nil
}
