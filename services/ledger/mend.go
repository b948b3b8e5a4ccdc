package ledger

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// Copy is a Source that knows how far it goes, as the relayed copy does. A ledger opened with one has a lost end put back
// from it.
type Copy interface {
	Source
	// End gives the sequence of the last entry the copy holds; 0 when there is no copy.
	End(ctx context.Context) (uint64, error)
	// At gives the bytes of an entry as they are in the copy. The caller verifies what can be verified.
	At(ctx context.Context, sequence uint64) ([]byte, error)
}

// loadMending loads, and whenever that meets a damaged entry has it put back from the source and loads again.
func (l *Ledger) loadMending(ctx context.Context) error {
	for last := ""; ; {
		err := l.load(ctx)
		if fault.Reason(err) != "ENTRY_DAMAGED" || l.source == nil {
			return err
		}
		damaged := fault.From(err).Meta["sequence"]
		if damaged == last {
			return err
		}
		if mendErr := l.mendAtStart(ctx, damaged); mendErr != nil {
			l.log.Warn("a damaged entry could not be restored from a copy", "site", l.site, "entry", damaged, "error", mendErr)
			return err
		}
		last = damaged
	}
}

// mendAtStart puts a damaged entry back before the writer lives. Where the tree does not say what its hash is, any copy
// is taken: the tree is then computed from the entries, and must give the head's root.
func (l *Ledger) mendAtStart(ctx context.Context, number string) error {
	sequence, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return err
	}
	base := &snapshot{txn: l.db.NewTransaction(false)}
	defer base.txn.Discard()
	var bytes []byte
	if leaf, leafErr := base.leaf(sequence); leafErr == nil {
		bytes, err = l.fetch(ctx, sequence, leaf)
	} else if c, ok := l.source.(Copy); ok {
		l.doubtTree = true
		bytes, err = l.copied(ctx, c, sequence)
	} else {
		err = leafErr
	}
	if err != nil {
		return err
	}
	return l.putBack(sequence, bytes)
}

// fetch asks the source for an entry by its hash.
func (l *Ledger) fetch(ctx context.Context, sequence uint64, leaf tlog.Hash) ([]byte, error) {
	bytes, err := l.source.Entry(ctx, sequence, leaf)
	if err == nil && tlog.RecordHash(bytes) != leaf {
		err = errors.New("the copy gave an entry with another hash")
	}
	return bytes, err
}

// copied takes an entry as the copy has it, if it could be this ledger's.
func (l *Ledger) copied(ctx context.Context, c Copy, sequence uint64) ([]byte, error) {
	bytes, err := c.At(ctx, sequence)
	if err != nil {
		return nil, err
	}
	e, err := decodeEntry(sequence, bytes)
	if err != nil {
		return nil, err
	}
	if e.GetSite() != l.site || e.GetProgramme() != l.programme {
		return nil, fmt.Errorf("the copy holds an entry %d of site %q, programme %q", sequence, e.GetSite(), e.GetProgramme())
	}
	return bytes, nil
}

// putBack stores an entry again, from within the writer or before it lives.
func (l *Ledger) putBack(sequence uint64, bytes []byte) error {
	changes := newLayer(nil)
	changes.put(spaceEntry, sequenceKey(sequence), storedRow(bytes))
	if err := l.store(changes); err != nil {
		return err
	}
	l.log.Warn("a damaged entry was restored from a copy", "site", l.site, "entry", sequence)
	return nil
}

// mendEnd puts back the end of the ledger that the copy has and the store has not. Every entry was recorded here and
// carried there before it was lost, so the copy's word is taken for what follows the head; a signed checkpoint tells
// whether it deserved that. Personal data sealed with these entries are lost: they are never carried. It gives the head.
func (l *Ledger) mendEnd(ctx context.Context, head Head) (Head, error) {
	c, ok := l.source.(Copy)
	if !ok {
		return head, nil
	}
	end, err := c.End(ctx)
	if err != nil {
		return head, fault.Wrap(err, codes.Unavailable, "COPY_UNREADABLE", "The copy of the ledger in NATS cannot be asked whether the ledger's end is there. Nothing was recorded. See that NATS runs, and start the site again.")
	}
	if end <= head.Size {
		return head, nil
	}
	base := &snapshot{txn: l.db.NewTransaction(false), head: head}
	defer base.txn.Discard()
	tree, err := readFrontier(head.Size, base)
	if err != nil {
		return head, fault.Wrap(err, codes.DataLoss, "END_MISSING", "The end of the ledger is missing and its tree is damaged, so the end cannot be put back from the copy. Import an export, or restore the data folder.")
	}
	l.log.Warn("the ledger has lost its end; putting it back from the copy", "site", l.site, "size", head.Size, "copy", end)
	changes := newLayer(nil)
	for sequence := head.Size + 1; sequence <= end; sequence++ {
		bytes, err := l.copied(ctx, c, sequence)
		if err != nil {
			return head, fault.Wrap(err, codes.DataLoss, "END_MISSING", fmt.Sprintf("The ledger ends at entry %d and its copy at %d, but entry %d cannot be put back from the copy. Restore the data folder, or import an export.", head.Size, end, sequence))
		}
		hashes, err := tree.grow(tlog.RecordHash(bytes))
		if err != nil {
			return head, err
		}
		changes.put(spaceEntry, sequenceKey(sequence), storedRow(bytes))
		changes.put(spaceHash, sequenceKey(sequence), storedRow(joinGroup(hashes)))
		if sequence < end && changes.bytes < l.db.MaxBatchSize()/2 && changes.count < l.db.MaxBatchCount()/2 {
			continue
		}
		if head, err = l.growTo(tree, changes); err != nil {
			return head, err
		}
		changes = newLayer(nil)
	}
	return head, nil
}

// growTo stores entries that were put back, with the head after them.
func (l *Ledger) growTo(tree frontier, changes *layer) (Head, error) {
	root, err := tree.root()
	if err != nil {
		return Head{}, err
	}
	head := Head{Site: l.site, Size: tree.size, Root: root}
	changes.put(spaceMeta, keyHead, storedRow(encodeHead(head)))
	return head, l.store(changes)
}

// Scrub reads the whole ledger and puts right what it can: damaged entries from the source, by their hashes, and tree
// hashes by computing them again. It gives how many of each it put right. What cannot be put right is an error that
// names it. Recording goes on meanwhile.
func (l *Ledger) Scrub(ctx context.Context) (entries, hashes int, err error) {
	for last := uint64(0); ; {
		bad, err := l.scrubOnce(ctx)
		if err != nil {
			return entries, hashes, err
		}
		switch {
		case bad.entry != 0:
			if l.source == nil {
				return entries, hashes, entryDamaged(bad.entry, "its stored bytes fail their checksum, and there is no copy to ask")
			}
			if err := l.restore(ctx, strconv.FormatUint(bad.entry, 10)); err != nil {
				l.log.Warn("a damaged entry could not be restored from a copy", "site", l.site, "entry", bad.entry, "error", err)
				return entries, hashes, entryDamaged(bad.entry, "its stored bytes fail their checksum, and no copy has it")
			}
			if entries++; bad.entry == last {
				return entries, hashes, entryDamaged(bad.entry, "the disk does not keep it")
			}
			last = bad.entry
		case bad.groups.count > 0:
			if err := l.inWriter(ctx, func() error { return l.rehash(bad.groups) }); err != nil {
				return entries, hashes, err
			}
			return entries, hashes + int(bad.groups.count), nil
		default:
			return entries, hashes, nil
		}
	}
}

// scrubbed is what one reading found.
type scrubbed struct {
	entry  uint64 // the first damaged entry; 0 when there is none
	groups *layer // tree hashes as they should be, where they are not
}

// scrubOnce reads entries and tree side by side until it meets a damaged entry.
func (l *Ledger) scrubOnce(ctx context.Context) (scrubbed, error) {
	snap, err := l.acquire()
	if err != nil {
		return scrubbed{}, err
	}
	defer snap.release()
	found := scrubbed{groups: newLayer(nil)}
	tree := frontier{peaks: map[int64]tlog.Hash{}}
	err = snap.entries(ctx, 1, func(sequence uint64, r row) (bool, error) {
		leaf := tlog.RecordHash(r.value)
		if stored, err := snap.leaf(sequence); err == nil && stored != leaf {
			return false, entryDamaged(sequence, "its bytes are not those that the tree covers")
		}
		group, err := tree.grow(leaf)
		if err != nil {
			return false, err
		}
		if stored, ok, err := snap.get(spaceHash, sequenceKey(sequence)); err != nil || !ok || string(stored.value) != string(joinGroup(group)) {
			found.groups.put(spaceHash, sequenceKey(sequence), storedRow(joinGroup(group)))
		}
		return true, nil
	})
	if fault.Reason(err) == "ENTRY_DAMAGED" {
		found.entry, err = strconv.ParseUint(fault.From(err).Meta["sequence"], 10, 64)
		return found, err
	}
	if err != nil {
		return scrubbed{}, outward(err)
	}
	if root, err := tree.root(); err != nil || root != snap.head.Root {
		return scrubbed{}, fault.Wrap(err, codes.DataLoss, "TREE_DISAGREES", "The ledger's entries do not give the root hash its head speaks of: an entry is not what it was. Restore the ledger from a copy.")
	}
	return found, nil
}

// rehash stores tree hashes that were computed again. It runs in the writer.
func (l *Ledger) rehash(groups *layer) error {
	piece := newLayer(nil)
	err := groups.each(func(space, key string, c change) error {
		piece.set(space, key, c)
		if piece.bytes < l.db.MaxBatchSize()/2 && piece.count < l.db.MaxBatchCount()/2 {
			return nil
		}
		full := piece
		piece = newLayer(nil)
		return l.store(full)
	})
	if err != nil {
		return err
	}
	if err := l.store(piece); err != nil {
		return err
	}
	l.log.Warn("damaged tree hashes were computed again", "site", l.site, "entries", groups.count)
	l.publish(l.current.head, l.current.views)
	return nil
}
