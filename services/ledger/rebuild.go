package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// loadViews finds out which views can be kept, empties the others, and folds what each has not seen.
func (l *Ledger) loadViews(ctx context.Context, base *snapshot) error {
	var known []viewState
	r, ok, err := base.get(spaceMeta, keyViews)
	if err == nil && ok {
		known, err = decodeViews(r.value)
	}
	var damaged *damagedRow
	switch {
	case errors.As(err, &damaged):
		l.log.Warn("the record of the ledger's views is damaged; building all of them again", "site", l.site)
		known = nil
	case err != nil:
		return err
	}
	var views []viewState
	for _, v := range l.views {
		state, err := l.adopt(base, v, known)
		if err != nil {
			return err
		}
		views = append(views, state)
	}
	for _, v := range known { // of views this program does not know; kept for the one that does
		if findView(views, v.name) < 0 {
			views = append(views, v)
		}
	}
	if err := l.storeViews(base.head, views); err != nil {
		return err
	}
	return l.catchUp(ctx)
}

// adopt decides whether the stored rows of a view can be kept. It gives the state to go on from.
func (l *Ledger) adopt(base *snapshot, v View, known []viewState) (viewState, error) {
	i := findView(known, v.Name())
	if i < 0 {
		return emptyView(v.Name(), v.Version(), 1), l.sweep(v.Name(), 0)
	}
	state, why := known[i], ""
	switch {
	case state.version != v.Version():
		why = fmt.Sprintf("its version is %d and was %d", v.Version(), state.version)
	case state.position > base.total():
		why = "it is ahead of the entries"
	default:
		rows, sum, err := base.tally(state.space)
		var damaged *damagedRow
		switch {
		case errors.As(err, &damaged):
			why = "a row fails its checksum"
		case err != nil:
			return viewState{}, err
		case rows != state.rows || sum != state.sum:
			why = fmt.Sprintf("its rows are not those it had (%d rows, %d expected)", rows, state.rows)
		}
	}
	if why == "" { // a rebuilding that was stopped may have left rows of an older generation
		return state, l.sweep(v.Name(), state.generation)
	}
	l.log.Warn("building a view again from the entries", "site", l.site, "view", v.Name(), "because", why)
	next := emptyView(v.Name(), v.Version(), state.generation+1)
	return next, l.sweep(v.Name(), next.generation)
}

// tally counts the rows of a space and adds up their checksums. It makes sure that a row asked for by its key is the row
// that a walk meets: in a damaged table the two may be different versions of it, each with a right checksum.
func (s *snapshot) tally(space string) (rows, sum uint64, err error) {
	err = s.scan(space, "", "", 0, func(key string, r row) (bool, error) {
		rows++
		sum += uint64(r.sum)
		asked, ok, err := s.get(space, key)
		if err == nil && (!ok || asked.sum != r.sum) {
			err = &damagedRow{space, key}
		}
		return err == nil, err
	})
	return rows, sum, err
}

// storeViews writes the states of the views, and the head with them, unless they stand there already, and shows both to
// readers.
func (l *Ledger) storeViews(head Head, views []viewState) error {
	changes := newLayer(nil)
	now := &snapshot{txn: l.db.NewTransaction(false)}
	for key, value := range map[string][]byte{keyHead: encodeHead(head), keyViews: encodeViews(views)} {
		if r, ok, err := now.get(spaceMeta, key); err != nil || !ok || string(r.value) != string(value) {
			changes.put(spaceMeta, key, storedRow(value))
		}
	}
	now.txn.Discard()
	if changes.count > 0 {
		if err := l.store(changes); err != nil {
			return err
		}
	}
	l.publish(head, views)
	return nil
}

// sweep deletes the rows of a view in every generation but the one kept; 0 keeps none. A row whose key is damaged in
// the store's files may come back however often it is deleted, or stop the walk; it is left to the check to name.
func (l *Ledger) sweep(name string, keep uint32) error {
	for last := ""; ; {
		changes := newLayer(nil)
		first, err := l.leftovers(name, keep, changes)
		if changes.count == 0 && err == nil {
			return nil
		}
		if changes.count == 0 || first == last {
			l.log.Warn("old rows of a view cannot be deleted; the ledger's files are damaged", "site", l.site, "view", name, "error", err)
			return nil
		}
		if err := l.store(changes); err != nil {
			return err
		}
		last = first
	}
}

// leftovers marks rows for deletion, as many as go into one transaction, and gives the first one's key.
func (l *Ledger) leftovers(name string, keep uint32, changes *layer) (first string, err error) {
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	options := badger.DefaultIteratorOptions
	options.Prefix, options.PrefetchValues = []byte(viewPrefix(name)), false
	kept := []byte(viewSpace(name, keep))
	mark := func(full, _ []byte) (bool, error) {
		if keep != 0 && bytes.HasPrefix(full, kept) {
			return false, nil
		}
		key := string(full)
		if first == "" {
			first = key
		}
		changes.remove(key, "")
		return changes.bytes < l.db.MaxBatchSize()/2 && changes.count < l.db.MaxBatchCount()/2, nil
	}
	err = iterate(txn, options, options.Prefix, mark)
	if keep != 0 {
		err = errors.Join(err, iterate(txn, options, []byte(viewSpace(name, keep+1)), mark))
	}
	return first, err
}

// heal builds views again that were found damaged, and finishes the ones that are behind. It runs in the writer.
func (l *Ledger) heal(ill []viewState) error {
	base := l.current
	views := append([]viewState(nil), base.views...)
	for _, was := range ill {
		i := findView(views, was.name)
		if i < 0 || i >= len(l.views) {
			continue
		}
		if now := views[i]; now.generation == was.generation && was.position == base.head.Size {
			l.log.Warn("building a view again from the entries", "site", l.site, "view", was.name, "because", "a row fails its checksum, or it was asked for")
			views[i] = emptyView(was.name, l.views[i].Version(), now.generation+1)
		}
	}
	if err := l.storeViews(base.head, views); err != nil {
		return err
	}
	for _, was := range ill {
		if i := findView(views, was.name); i >= 0 {
			if err := l.sweep(was.name, views[i].generation); err != nil {
				return err
			}
		}
	}
	return l.catchUp(context.Background())
}

// Rebuild drops the rows of views and folds them anew from the entries, all views of this program when none is named. It
// stops the writer for as long as it takes and gives the names of the views it built.
func (l *Ledger) Rebuild(ctx context.Context, names ...string) (built []string, err error) {
	for _, name := range names {
		if !slices.ContainsFunc(l.views, func(v View) bool { return v.Name() == name }) {
			return nil, fault.New(codes.NotFound, "NO_SUCH_VIEW", "This ledger has no view "+name+".", "view", name)
		}
	}
	err = l.inWriter(ctx, func() error {
		var drop []viewState
		for _, v := range l.current.views[:len(l.views)] {
			if len(names) == 0 || slices.Contains(names, v.name) {
				drop, built = append(drop, v), append(built, v.name)
			}
		}
		return l.heal(drop)
	})
	return built, outward(err)
}

// catchUp folds the entries that views have not seen, in pieces of one transaction each, so that a stop in between
// loses little. A copy that turns out damaged is taken back to before the damage; it is asked for again later.
func (l *Ledger) catchUp(ctx context.Context) error {
	for last := ""; ; {
		err := l.catchUpOnce(ctx)
		switch {
		case fault.Reason(err) == "COPY_DAMAGED" && fault.From(err).Meta["sequence"] != last:
			last = fault.From(err).Meta["sequence"]
			err = l.stepBack(fault.From(err))
		case errors.Is(err, errOrder):
			err = l.reorder(err, l.place.copies)
		default:
			return err
		}
		if err != nil {
			return err
		}
	}
}

func (l *Ledger) catchUpOnce(ctx context.Context) error {
	base, err := l.acquire()
	if err != nil {
		return err
	}
	defer base.release()
	from := base.total()
	for _, v := range base.views[:len(l.views)] {
		from = min(from, v.position)
	}
	if from == base.total() {
		return nil
	}
	own, err := base.ownAmong(from)
	if err != nil {
		return err
	}
	piece := l.stageOn(l.current)
	piece.size, piece.total = own, from
	finish := func() error {
		piece.layer.put(spaceMeta, keyViews, storedRow(encodeViews(piece.views)))
		if err := l.store(piece.layer); err != nil {
			return err
		}
		l.cache.apply(piece.layer)
		l.publish(base.head, piece.views)
		next := l.stageOn(l.current)
		next.size, next.total = piece.size, piece.total
		piece = next
		return nil
	}
	err = base.decoded(ctx, from+1, func(e *ledgerv1.Entry, payload proto.Message) error {
		if err := piece.fold(e, payload); err != nil {
			return err
		}
		if piece.layer.bytes < l.db.MaxBatchSize()/2 && piece.layer.count < l.db.MaxBatchCount()/2 {
			return nil
		}
		return finish()
	})
	if err != nil {
		return err
	}
	return finish()
}

// decoded calls f with the entries of all sites and their payloads, in the order of folding, from a place in it on. They
// are read and decoded ahead by another goroutine, which has ended when decoded returns.
func (s *snapshot) decoded(ctx context.Context, from uint64, f func(*ledgerv1.Entry, proto.Message) error) error {
	ahead, cancel := context.WithCancel(ctx)
	defer cancel()
	runs, ended := make(chan []Decoded, 4), make(chan error, 1)
	go func() {
		defer close(runs)
		var run []Decoded
		hand := func() bool {
			select {
			case runs <- run:
				run = nil
				return true
			case <-ahead.Done():
				return false
			}
		}
		err := s.ordered(ahead, from, func(d Decoded) (bool, error) {
			run = append(run, d)
			return len(run) < 256 || hand(), nil
		})
		hand()
		ended <- err
	}()
	var failed error
	for run := range runs {
		for _, d := range run {
			if failed == nil {
				if failed = f(d.Entry, d.Payload); failed != nil {
					cancel()
				}
			}
		}
	}
	if failed == nil {
		failed = <-ended
	}
	if failed == nil && ctx.Err() != nil {
		failed = outOfTime(ctx, "The time was over while folding the ledger's entries.")
	}
	return failed
}

func unknownKind(e *ledgerv1.Entry, cause error) error {
	return fault.Wrap(cause, codes.FailedPrecondition, "UNKNOWN_KIND",
		fmt.Sprintf("Entry %d holds a %s, which this program does not know, so it cannot build the views. Use the newer program that recorded it.", e.GetSequence(), e.GetKind()))
}
