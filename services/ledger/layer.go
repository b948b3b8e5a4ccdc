package ledger

import (
	"slices"
	"strings"

	"github.com/dgraph-io/badger/v4"
)

// rows is what can be read: a snapshot of the store, or a layer of changes over one.
type rows interface {
	// get gives a verified row. The value must not be changed.
	get(space, key string) (row, bool, error)
	// scan calls f with the rows whose key begins with prefix and lies after `after`, in key order, until f says stop.
	// The value is valid until f returns. expect says about how many will be read; 0 means all.
	scan(space, prefix, after string, expect int, f func(key string, r row) (more bool, err error)) error
}

// change is a row to be written, or taken away when stored is nil.
type change struct {
	full   []byte
	stored []byte
	row    row
}

// layer holds changes that are not yet written, over what lies below. Few of them lie in a list, as those of one command
// do: a map for each command would be most of what a command costs.
type layer struct {
	under  rows
	few    []placed
	spaces map[string]map[string]change // instead of the list, once there are many
	bytes  int64                        // upper estimate of what the changes weigh in a Badger transaction
	count  int64
}

// placed is a change with its place.
type placed struct {
	space, key string
	change
}

// mostFew is how many changes lie in a list.
const mostFew = 12

func newLayer(under rows) *layer { return &layer{under: under} }

// rowWeight is what Badger counts for a row beyond its key and value, rounded up.
const rowWeight = 16

func (l *layer) set(space, key string, c change) {
	l.bytes += int64(len(c.full)+len(c.stored)) + rowWeight
	l.count++
	l.place(space, key, c)
}

// place keeps a change, in place of one of the same row.
func (l *layer) place(space, key string, c change) {
	if l.spaces == nil {
		for i := range l.few {
			if l.few[i].key == key && l.few[i].space == space {
				l.few[i].change = c
				return
			}
		}
		if len(l.few) < mostFew {
			l.few = append(l.few, placed{space, key, c})
			return
		}
		l.spaces = map[string]map[string]change{}
		for _, p := range l.few {
			l.place(p.space, p.key, p.change)
		}
		l.few = nil
	}
	in := l.spaces[space]
	if in == nil {
		in = map[string]change{}
		l.spaces[space] = in
	}
	in[key] = c
}

// find gives the change of a row.
func (l *layer) find(space, key string) (change, bool) {
	for i := range l.few {
		if l.few[i].key == key && l.few[i].space == space {
			return l.few[i].change, true
		}
	}
	c, ok := l.spaces[space][key]
	return c, ok
}

// each calls f with every change, in no order, until it gives an error.
func (l *layer) each(f func(space, key string, c change) error) error {
	for i := range l.few {
		if err := f(l.few[i].space, l.few[i].key, l.few[i].change); err != nil {
			return err
		}
	}
	for space, in := range l.spaces {
		for key, c := range in {
			if err := f(space, key, c); err != nil {
				return err
			}
		}
	}
	return nil
}

// empty takes all changes away.
func (l *layer) empty() { l.few, l.spaces, l.bytes, l.count = nil, nil, 0, 0 }

// put takes a stored value whose checksum is still open, closes it and keeps it. It gives the row's checksum.
func (l *layer) put(space, key string, stored []byte) uint32 {
	full := []byte(space + key)
	c := change{full: full, stored: stored, row: closeRow(full, stored)}
	l.set(space, key, c)
	return c.row.sum
}

func (l *layer) remove(space, key string) {
	l.set(space, key, change{full: []byte(space + key)})
}

func (l *layer) get(space, key string) (row, bool, error) {
	if c, ok := l.find(space, key); ok {
		return c.row, c.stored != nil, nil
	}
	return l.under.get(space, key)
}

// scan merges the changes into the rows below. It shows the layer as it was when the scan began, so the caller may
// change rows meanwhile.
func (l *layer) scan(space, prefix, after string, expect int, f func(string, row) (bool, error)) error {
	type named struct {
		key string
		change
	}
	var mine []named
	note := func(key string, c change) {
		if key > after && strings.HasPrefix(key, prefix) {
			mine = append(mine, named{key, c})
		}
	}
	for _, p := range l.few {
		if p.space == space {
			note(p.key, p.change)
		}
	}
	for key, c := range l.spaces[space] {
		note(key, c)
	}
	if len(mine) == 0 {
		return l.under.scan(space, prefix, after, expect, f)
	}
	slices.SortFunc(mine, func(a, b named) int { return strings.Compare(a.key, b.key) })
	stopped := false
	upTo := func(key string) (bool, error) { // gives out my rows before key
		for len(mine) > 0 && mine[0].key < key {
			c := mine[0]
			mine = mine[1:]
			if c.stored == nil {
				continue
			}
			if more, err := f(c.key, c.row); !more || err != nil {
				stopped = true
				return false, err
			}
		}
		return true, nil
	}
	err := l.under.scan(space, prefix, after, expect, func(key string, r row) (bool, error) {
		if more, err := upTo(key); !more || err != nil {
			return false, err
		}
		if len(mine) > 0 && mine[0].key == key {
			return upTo(key + "\x00")
		}
		more, err := f(key, r)
		stopped = !more || err != nil
		return more, err
	})
	if err != nil || stopped {
		return err
	}
	for _, c := range mine {
		if c.stored == nil {
			continue
		}
		if more, err := f(c.key, c.row); !more || err != nil {
			return err
		}
	}
	return nil
}

// pour moves all changes into the layer below.
func (l *layer) pour(into *layer) {
	_ = l.each(func(space, key string, c change) error { into.place(space, key, c); return nil })
	into.bytes += l.bytes
	into.count += l.count
}

// write puts every change into a Badger transaction.
func (l *layer) write(txn *badger.Txn) error {
	return l.each(func(_, _ string, c change) error {
		if c.stored == nil {
			return txn.Delete(c.full)
		}
		return txn.Set(c.full, c.stored)
	})
}
