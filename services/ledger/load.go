package ledger

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// load reads what the store says of itself, tests it, and brings the views up to the head.
func (l *Ledger) load(ctx context.Context) error {
	base := &snapshot{txn: l.db.NewTransaction(false)}
	defer func() { base.txn.Discard() }()
	fresh, err := l.loadIdentity(base)
	if err != nil {
		return err
	}
	if fresh {
		if err := l.loadKey(base); err != nil {
			return err
		}
		return l.begin(ctx, base)
	}
	head, err := l.loadHead(base)
	if err != nil {
		return err
	}
	if base.head, err = l.settleEnd(ctx, base, head); err != nil {
		return err
	}
	base.txn.Discard()
	base.txn = l.db.NewTransaction(false)
	if err := l.loadPlaces(base); err != nil {
		return err
	}
	if err := l.checkEnd(base); err != nil {
		return err
	}
	if err := l.loadTree(ctx, base); err != nil {
		return err
	}
	if err := l.loadKey(base); err != nil {
		return err
	}
	if err := l.compareCheckpoints(base); err != nil {
		return err
	}
	if err := l.pinOwn(base); err != nil {
		return err
	}
	l.loadGrafts(ctx, base)
	return l.loadViews(ctx, base)
}

// settleEnd puts back what is missing at the end and a copy has: entries the head speaks of, and what follows the head.
func (l *Ledger) settleEnd(ctx context.Context, base *snapshot, head Head) (Head, error) {
	if l.source == nil {
		return head, nil
	}
	last, err := base.lastSequence()
	if err != nil {
		return head, err
	}
	for sequence := last + 1; sequence <= head.Size; sequence++ {
		if err := l.mendAtStart(ctx, strconv.FormatUint(sequence, 10)); err != nil {
			l.log.Warn("a missing entry could not be restored from a copy", "site", l.site, "entry", sequence, "error", err)
			return head, nil // checkEnd says the rest
		}
	}
	return l.mendEnd(ctx, head)
}

// begin makes a new ledger, unless there was one: then only a copy can fill it again.
func (l *Ledger) begin(ctx context.Context, base *snapshot) error {
	l.grafts = map[string]*graft{}
	_, err := os.Stat(filepath.Join(l.dir, KeyFileName))
	had := err == nil
	c, ok := l.source.(Copy)
	end := uint64(0)
	if ok {
		if end, err = c.End(ctx); err != nil {
			return fault.Wrap(err, codes.Unavailable, "COPY_UNREADABLE", "The ledger's store is empty, and the copy in NATS cannot be asked whether it always was. Nothing was begun. See that NATS runs, and start the site again.")
		}
	}
	if had && end == 0 {
		return fault.New(codes.DataLoss, "STORE_EMPTY", fmt.Sprintf("The ledger's store in %s holds nothing, though the site has been running: its content is lost. No new ledger is begun over it. Restore the data folder, or import an export into an empty one.", l.dir))
	}
	if end == 0 { // a checkpoint that is still there tells that there were entries
		base.head.Site = l.site
		if err := l.compareCheckpoints(base); err != nil {
			return err
		}
	}
	if err := l.create(); err != nil || end == 0 {
		return err
	}
	return l.load(ctx) // which puts everything back from the copy
}

// create writes the first rows of a new ledger.
func (l *Ledger) create() error {
	changes := newLayer(nil)
	changes.put(spaceMeta, keyIdentity, storedRow(encodeIdentity(identity{format, l.programme, l.site})))
	l.tree = frontier{peaks: map[int64]tlog.Hash{}}
	root, err := l.tree.root()
	if err != nil {
		return err
	}
	head := Head{Site: l.site, Root: root}
	changes.put(spaceMeta, keyHead, storedRow(encodeHead(head)))
	var views []viewState
	for _, v := range l.views {
		views = append(views, emptyView(v.Name(), v.Version(), 1))
	}
	changes.put(spaceMeta, keyViews, storedRow(encodeViews(views)))
	changes.put(spacePin, l.site, storedRow([]byte(l.key.VerifierKey)))
	if err := l.store(changes); err != nil {
		return err
	}
	l.publish(head, views)
	return nil
}

// loadIdentity makes sure that the store is this site's. It says whether the store is a new one.
func (l *Ledger) loadIdentity(base *snapshot) (fresh bool, err error) {
	r, ok, err := base.get(spaceMeta, keyIdentity)
	if err != nil {
		return false, err
	}
	if !ok {
		rows, err := base.count("")
		if err == nil && rows > 0 {
			err = fault.New(codes.DataLoss, "IDENTITY_MISSING", "The ledger's store does not say whose it is, though it holds data. Restore it from a copy.")
		}
		return true, err
	}
	var id identity
	if err := json.Unmarshal(r.value, &id); err != nil {
		return false, fault.Wrap(err, codes.DataLoss, "IDENTITY_DAMAGED", "What the ledger's store says of itself cannot be read. Restore it from a copy.")
	}
	if id.Format != format {
		return false, fault.New(codes.FailedPrecondition, "OTHER_FORMAT", fmt.Sprintf("The ledger is of format %d; this program knows format %d. Use the program that fits.", id.Format, format))
	}
	if id.Site != l.site || id.Programme != l.programme {
		return false, fault.New(codes.FailedPrecondition, "OTHER_SITE", fmt.Sprintf("The ledger in this folder belongs to site %q of programme %q, not to site %q of %q. Use another folder.", id.Site, id.Programme, l.site, l.programme))
	}
	return false, nil
}

// loadHead reads the head, or finds it again from the entries when its row is damaged.
func (l *Ledger) loadHead(base *snapshot) (Head, error) {
	r, ok, err := base.get(spaceMeta, keyHead)
	if err == nil && ok {
		return decodeHead(l.site, r.value)
	}
	var damaged *damagedRow
	if err != nil && !errors.As(err, &damaged) {
		return Head{}, err
	}
	size, err := base.lastSequence()
	if err != nil {
		return Head{}, err
	}
	tree, err := readFrontier(size, base)
	if err != nil {
		return Head{}, fault.Wrap(err, codes.DataLoss, "HEAD_DAMAGED", "The ledger's head and its tree are damaged. Restore it from a copy.")
	}
	root, err := tree.root()
	l.log.Warn("the ledger's head was damaged and was found again from its entries", "site", l.site, "size", size, "root", root.String())
	return Head{Site: l.site, Size: size, Root: root}, err
}

// lastSequence finds the last entry's sequence from the keys.
func (s *snapshot) lastSequence() (last uint64, err error) {
	keyDamaged := fault.New(codes.DataLoss, "KEY_DAMAGED", "The key of the ledger's last entry is damaged. Restore the ledger from a copy.")
	defer surviveStore(nil, func() { err = keyDamaged })
	options := badger.DefaultIteratorOptions
	options.Reverse, options.PrefetchValues = true, false
	it := s.txn.NewIterator(options)
	defer it.Close()
	it.Seek([]byte(spaceEntry + "\xff\xff\xff\xff\xff\xff\xff\xff\xff"))
	if !it.ValidForPrefix([]byte(spaceEntry)) {
		return 0, nil
	}
	sequence, ok := sequenceOfKey(string(it.Item().Key()[len(spaceEntry):]))
	if !ok {
		return 0, keyDamaged
	}
	return sequence, nil
}

// checkEnd refuses a ledger whose end is missing: the head, the last entry and what was carried elsewhere must agree.
func (l *Ledger) checkEnd(base *snapshot) error {
	last, err := base.lastSequence()
	if err != nil {
		return err
	}
	if last != base.head.Size {
		return fault.New(codes.DataLoss, "END_DISAGREES", fmt.Sprintf("The ledger's head speaks of %d entries, but the last one stored is %d. Restore it from a copy.", base.head.Size, last))
	}
	return base.scan(spaceCursor, "", "", 0, func(name string, r row) (bool, error) {
		cursor, ok := sequenceOfKey(string(r.value))
		if ok && cursor > base.head.Size {
			return false, fault.New(codes.DataLoss, "END_MISSING",
				fmt.Sprintf("The ledger ends at entry %d, but %q carried entry %d elsewhere. The end of the ledger is lost; restore it from that copy before going on.", base.head.Size, name, cursor),
				"size", strconv.FormatUint(base.head.Size, 10), "carried", strconv.FormatUint(cursor, 10))
		}
		return true, nil
	})
}

// loadTree reads the frontier. Stored hashes that do not give the head's root are computed again from the entries, which
// then must give it.
func (l *Ledger) loadTree(ctx context.Context, base *snapshot) error {
	tree, err := readFrontier(base.head.Size, base)
	if err == nil {
		var root tlog.Hash
		if root, err = tree.root(); err == nil && root == base.head.Root && !l.doubtTree {
			l.tree = tree
			return nil
		}
	}
	l.log.Warn("the ledger's tree hashes are damaged; computing them again from the entries", "site", l.site, "size", base.head.Size, "error", err)
	return l.rebuildTree(ctx, base)
}

// rebuildTree computes all tree hashes from the entries and stores them.
func (l *Ledger) rebuildTree(ctx context.Context, base *snapshot) error {
	tree, pieces, err := l.growAgain(ctx, base.chainOf(""))
	if err != nil {
		return err
	}
	root, err := tree.root()
	if err != nil {
		return err
	}
	if root != base.head.Root {
		return fault.New(codes.DataLoss, "TREE_DISAGREES", "The ledger's entries do not give the root hash its head speaks of: an entry is not what it was. Restore the ledger from a copy.")
	}
	for _, piece := range pieces {
		if err := l.store(piece); err != nil {
			return err
		}
	}
	l.tree, l.doubtTree = tree, false
	return nil
}

// regrow computes the tree hashes of a copy from its entries and stores them.
func (l *Ledger) regrow(ctx context.Context, c chain) (frontier, error) {
	tree, pieces, err := l.growAgain(ctx, c)
	for _, piece := range pieces {
		if err == nil {
			err = l.store(piece)
		}
	}
	return tree, err
}

// growAgain grows a tree from a chain's entries, and gives its hashes in pieces that fit a transaction each.
func (l *Ledger) growAgain(ctx context.Context, c chain) (frontier, []*layer, error) {
	tree := frontier{peaks: map[int64]tlog.Hash{}}
	changes := newLayer(nil)
	var pieces []*layer
	err := c.walkEntries(ctx, 1, c.size, func(sequence uint64, r row) (bool, error) {
		hashes, err := tree.grow(tlog.RecordHash(r.value))
		if err != nil {
			return false, err
		}
		changes.put(c.hashes, sequenceKey(sequence), storedRow(joinGroup(hashes)))
		if changes.bytes > l.db.MaxBatchSize()/2 || changes.count > l.db.MaxBatchCount()/2 {
			pieces = append(pieces, changes)
			changes = newLayer(nil)
		}
		return true, nil
	})
	return tree, append(pieces, changes), err
}
