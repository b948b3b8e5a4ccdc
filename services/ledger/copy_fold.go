package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// foldAtOnce is how many entries of another site go into one commit, so that the own commands wait only shortly.
const foldAtOnce = 256

// FoldCopy folds verified entries of another site into the views, one commit's worth, and says whether there are more.
func (l *Ledger) FoldCopy(ctx context.Context, site string) (more bool, err error) {
	run, err := l.unfolded(ctx, site)
	if err != nil || len(run) == 0 {
		return false, l.mend(ctx, outward(err))
	}
	err = l.wholly(ctx, func() (err error) {
		more, err = l.foldRun(site, run)
		return err
	})
	return more, outward(err)
}

// mend takes a copy back to before an entry found damaged while it was read for folding.
func (l *Ledger) mend(ctx context.Context, err error) error {
	if fault.Reason(err) != "COPY_DAMAGED" {
		return err
	}
	if stepping := l.wholly(ctx, func() error { return l.stepBack(fault.From(err)) }); stepping != nil {
		return stepping
	}
	return err
}

// unfolded reads and decodes the next entries to be folded.
func (l *Ledger) unfolded(ctx context.Context, site string) ([]Decoded, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	i := findCopy(snap.place.copies, site)
	if i < 0 {
		return nil, nil
	}
	state, run := snap.place.copies[i], []Decoded(nil)
	c := snap.copyOf(state)
	err = c.walkEntries(ctx, state.folded+1, min(state.verified, state.folded+foldAtOnce), func(sequence uint64, r row) (bool, error) {
		d, err := c.decode(sequence, r.value)
		run = append(run, d)
		return err == nil, err
	})
	return run, err
}

// foldRun folds decoded entries that follow those folded before, and notes them in the order of folding.
func (l *Ledger) foldRun(site string, entries []Decoded) (more bool, err error) {
	state, _, err := l.state(site)
	if err != nil {
		return false, err
	}
	if len(entries) == 0 || entries[0].Entry.GetSequence() != state.folded+1 {
		return state.folded < state.verified, nil // someone else was here
	}
	for repairs := 0; ; repairs++ {
		piece := l.stageOn(l.current)
		folded := 0
		for _, d := range entries {
			if err = piece.fold(d.Entry, d.Payload); err != nil {
				break
			}
			folded++
			if piece.layer.bytes > l.db.MaxBatchSize()/2 || piece.layer.count > l.db.MaxBatchCount()/2 {
				break
			}
		}
		if len(piece.ill.views) > 0 && repairs < 2 {
			if err := l.heal(piece.ill.views); err != nil {
				return false, err
			}
			continue
		}
		if err != nil {
			return false, err
		}
		return l.keepFold(state, piece, uint64(folded))
	}
}

// keepFold commits folded entries of a copy with their place in the order.
func (l *Ledger) keepFold(state copyState, piece *stage, folded uint64) (more bool, err error) {
	base := l.current
	next := l.place
	one := run{after: base.head.Size, first: state.folded + 1, count: folded, site: state.site}
	if next.runs > 0 {
		r, ok, err := base.get(spaceOrder, sequenceKey(next.runs))
		if err != nil {
			return false, err
		}
		last, err := decodeRun(r.value)
		if ok && err == nil && last.site == one.site && last.after == one.after && last.first+last.count == one.first {
			one.first, one.count = last.first, last.count+one.count
			next.runs--
		}
	}
	next.runs++
	state.folded += folded
	next = next.with(state)
	piece.layer.put(spaceOrder, sequenceKey(next.runs), storedRow(one.encode()))
	piece.layer.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
	piece.layer.put(spaceMeta, keyViews, storedRow(encodeViews(piece.views)))
	if err := l.store(piece.layer); err != nil {
		return false, err
	}
	l.cache.apply(piece.layer)
	l.place = next
	l.publish(base.head, piece.views)
	return state.folded < state.verified, nil
}

// stepBack takes a copy back to before an entry that was found damaged. What lies behind it stays on disk, and is written
// over when it is received again. The order of folding and the views are made anew.
func (l *Ledger) stepBack(damage *fault.Fault) error {
	site := damage.Meta["site"]
	sequence, err := strconv.ParseUint(damage.Meta["sequence"], 10, 64)
	i := findCopy(l.place.copies, site)
	if err != nil || i < 0 || sequence == 0 {
		return damage
	}
	copies := slices.Clone(l.place.copies)
	c, shown := &copies[i], copies[i].folded
	c.received, c.verified, c.folded = min(c.received, sequence-1), min(c.verified, sequence-1), min(c.folded, sequence-1)
	tree, err := readFrontier(c.received, l.current.copyOf(*c))
	if err != nil {
		return treeDamaged(err)
	}
	if g := l.grafts[site]; g != nil {
		g.tree = tree
	}
	l.log.Warn("the copy of another site's ledger is damaged; it is taken back and will be received again", "site", l.site, "copy", site, "entry", sequence)
	if shown == c.folded { // the views never saw it
		changes, next := newLayer(nil), places{runs: l.place.runs, copies: copies}
		changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
		if err := l.store(changes); err != nil {
			return err
		}
		l.place = next
		l.publish(l.current.head, l.current.views)
		return nil
	}
	return l.reorder(damage, copies)
}

// reorder makes a new order of folding: the own entries, and behind them those of each copy. All views are emptied; the
// caller folds them again.
func (l *Ledger) reorder(because error, copies []copyState) error {
	l.log.Warn("making a new order of folding, and all views after it", "site", l.site, "because", because)
	if err := l.clearOrder(); err != nil {
		return err
	}
	next, changes := places{copies: copies}, newLayer(nil)
	for _, c := range copies {
		if c.folded == 0 {
			continue
		}
		next.runs++
		changes.put(spaceOrder, sequenceKey(next.runs), storedRow(run{after: l.current.head.Size, first: 1, count: c.folded, site: c.site}.encode()))
	}
	views := slices.Clone(l.current.views)
	for i := range l.views {
		views[i] = emptyView(views[i].name, l.views[i].Version(), views[i].generation+1)
	}
	changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
	changes.put(spaceMeta, keyViews, storedRow(encodeViews(views)))
	if err := l.store(changes); err != nil {
		return err
	}
	l.place = next
	l.publish(l.current.head, views)
	for i := range l.views {
		if err := l.sweep(views[i].name, views[i].generation); err != nil {
			return err
		}
	}
	return nil
}

// clearOrder deletes all rows of the order. A stop in between leaves an order that is noticed as damaged.
func (l *Ledger) clearOrder() error {
	for {
		changes, txn := newLayer(nil), l.db.NewTransaction(false)
		options := badger.DefaultIteratorOptions
		options.Prefix, options.PrefetchValues = []byte(spaceOrder), false
		err := iterate(txn, options, options.Prefix, func(full, _ []byte) (bool, error) {
			changes.remove(string(full), "")
			return changes.bytes < l.db.MaxBatchSize()/2 && changes.count < l.db.MaxBatchCount()/2, nil
		})
		txn.Discard()
		if err != nil {
			return outward(err)
		}
		if changes.count == 0 {
			return nil
		}
		if err := l.store(changes); err != nil {
			return err
		}
	}
}

// loadPlaces reads where other sites' entries are. When that row is damaged it is found again from the order.
func (l *Ledger) loadPlaces(base *snapshot) error {
	l.grafts = map[string]*graft{}
	r, ok, err := base.get(spaceMeta, keyCopies)
	if err == nil && ok {
		l.place, err = decodePlaces(r.value)
	}
	var damaged *damagedRow
	if errors.As(err, &damaged) || errors.Is(err, errShort) {
		l.log.Warn("the record of the copies is damaged; it is found again from the order of folding", "site", l.site)
		if l.place, err = base.findPlaces(); err == nil {
			changes := newLayer(nil)
			changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(l.place)))
			err = l.store(changes)
		}
	}
	base.place = l.place
	if err != nil || l.place.runs == 0 {
		return err
	}
	last, ok, err := base.get(spaceOrder, sequenceKey(l.place.runs))
	if err != nil || !ok {
		return nil // it is noticed, and made anew, when the views are folded
	}
	if one, err := decodeRun(last.value); err == nil && one.after > base.head.Size {
		return fault.New(codes.DataLoss, "END_MISSING",
			fmt.Sprintf("The ledger ends at entry %d, but it had entry %d when entries of site %q were folded. The end of the ledger is lost; restore it from a copy before going on.", base.head.Size, one.after, one.site),
			"size", strconv.FormatUint(base.head.Size, 10), "carried", strconv.FormatUint(one.after, 10))
	}
	return nil
}

// findPlaces works the places out from the runs: what is folded is received and verified; the rest comes again.
func (s *snapshot) findPlaces() (places, error) {
	found := places{}
	err := s.scan(spaceOrder, "", "", 0, func(_ string, r row) (bool, error) {
		one, err := decodeRun(r.value)
		if err != nil {
			return false, err
		}
		state := copyState{site: one.site}
		if i := findCopy(found.copies, one.site); i >= 0 {
			state = found.copies[i]
		}
		state.folded += one.count
		state.received, state.verified = state.folded, state.folded
		found = found.with(state)
		found.runs++
		return true, nil
	})
	return found, outward(err)
}

// loadGrafts reads the frontiers of the copies, and computes the tree hashes of one anew when they are damaged. A copy
// that cannot be grown does not keep the site from opening.
func (l *Ledger) loadGrafts(ctx context.Context, base *snapshot) {
	for _, state := range l.place.copies {
		g := &graft{}
		l.grafts[state.site] = g
		c := base.copyOf(state)
		if g.tree, g.ill = readFrontier(state.received, c); g.ill == nil {
			g.ill = base.matchesCheckpoint(c)
		}
		if g.ill == nil {
			continue
		}
		l.log.Warn("the tree of a copy is damaged; computing it again from its entries", "site", l.site, "copy", state.site, "error", g.ill)
		if g.tree, g.ill = l.regrow(ctx, c); g.ill == nil {
			grown := &snapshot{txn: l.db.NewTransaction(false), head: base.head, place: base.place}
			g.ill = grown.matchesCheckpoint(grown.copyOf(state))
			grown.txn.Discard()
		}
		if g.ill != nil {
			l.log.Error("a copy is damaged and cannot be continued", "site", l.site, "copy", state.site, "error", g.ill)
		}
	}
}
