package ledger

import (
	"context"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// Stored is an entry as it is kept: the bytes are the record, and the leaf hash is taken over them.
type Stored struct {
	Sequence uint64
	Bytes    []byte
	Leaf     tlog.Hash
}

// Entry decodes the bytes.
func (s Stored) Entry() (*ledgerv1.Entry, error) { return decodeEntry(s.Sequence, s.Bytes) }

// runBytes bounds what one call of Stored gives, so that a long run of large entries does not fill the memory.
const runBytes = 4 << 20

// entries calls f with the verified own entries from a sequence on, up to the snapshot's head, until f says stop. A
// missing or damaged one is an error that names it.
func (s *snapshot) entries(ctx context.Context, from uint64, f func(sequence uint64, r row) (more bool, err error)) error {
	return s.chainOf("").walkEntries(ctx, from, s.head.Size, f)
}

// Stored gives up to limit committed entries from a sequence on (0 means 1), in order and without a gap, each verified
// against the tree. It gives fewer when they are large, and none when the ledger ends before the first.
func (l *Ledger) Stored(ctx context.Context, from uint64, limit int) ([]Stored, error) {
	for last := ""; ; {
		run, err := l.stored(ctx, from, limit)
		if fault.Reason(err) != "ENTRY_DAMAGED" || l.source == nil {
			return run, err
		}
		damaged := fault.From(err).Meta["sequence"]
		if damaged == last { // it was put back and is damaged again: the disk does not keep it
			return nil, err
		}
		if repairErr := l.restore(ctx, damaged); repairErr != nil {
			l.log.Warn("a damaged entry could not be restored from a copy", "site", l.site, "entry", damaged, "error", repairErr)
			return nil, err
		}
		last = damaged
	}
}

func (l *Ledger) stored(ctx context.Context, from uint64, limit int) ([]Stored, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	run, err := snap.chainOf("").verified(ctx, from, snap.head.Size, limit)
	return run, outward(err)
}

// leaf reads the leaf hash of an own entry from the stored tree.
func (s *snapshot) leaf(sequence uint64) (tlog.Hash, error) { return s.chainOf("").leaf(sequence) }

func treeDamaged(cause error) error {
	return fault.Wrap(cause, codes.DataLoss, "TREE_DAMAGED", "A hash of the ledger's tree is damaged. It is computed again from the entries when the site starts, or by zonule ledger rebuild.")
}

// restore fetches a damaged entry from the source, by its hash in the tree, and puts it back.
func (l *Ledger) restore(ctx context.Context, number string) error {
	sequence, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return err
	}
	snap, err := l.acquire()
	if err != nil {
		return err
	}
	leaf, err := snap.leaf(sequence)
	snap.release()
	if err != nil {
		return err
	}
	bytes, err := l.fetch(ctx, sequence, leaf)
	if err != nil {
		return err
	}
	return l.inWriter(ctx, func() error {
		if err := l.putBack(sequence, bytes); err != nil {
			return err
		}
		l.publish(l.current.head, l.current.views)
		return nil
	})
}

// Entries gives up to limit committed entries from a sequence on, like Stored, decoded.
func (l *Ledger) Entries(ctx context.Context, from uint64, limit int) ([]*ledgerv1.Entry, error) {
	run, err := l.Stored(ctx, from, limit)
	if err != nil {
		return nil, err
	}
	entries := make([]*ledgerv1.Entry, len(run))
	for i := range run {
		if entries[i], err = run[i].Entry(); err != nil {
			return nil, err
		}
	}
	return entries, nil
}

// Follow calls f with every committed entry from a sequence on, in order, and goes on as new ones are committed, until f
// gives an error, ctx ends or the ledger is closed. It returns why it ended.
func (l *Ledger) Follow(ctx context.Context, from uint64, f func(*ledgerv1.Entry) error) error {
	next := max(from, 1)
	for {
		if err := l.Await(ctx, next); err != nil {
			return err
		}
		run, err := l.Entries(ctx, next, 256)
		if err != nil {
			return err
		}
		for _, e := range run {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := f(e); err != nil {
				return err
			}
		}
		next += uint64(len(run))
	}
}

// Await waits until the ledger holds the entry with that sequence, ctx ends or the ledger is closed.
func (l *Ledger) Await(ctx context.Context, sequence uint64) error {
	for {
		l.mu.Lock()
		closed, moved := l.closed || l.current == nil, l.moved
		there := !closed && l.current.head.Size >= sequence
		l.mu.Unlock()
		switch {
		case closed:
			return errClosed
		case there:
			return nil
		}
		select {
		case <-moved:
		case <-l.quit:
			return errClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
