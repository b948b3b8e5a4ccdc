package ledger

import (
	"context"
	"errors"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// errand is something to be done in the writer, between two batches.
type errand struct {
	run  func() error
	done chan error
}

// inWriter runs f between two batches and waits for it.
func (l *Ledger) inWriter(ctx context.Context, f func() error) error {
	e := errand{run: f, done: make(chan error, 1)}
	select {
	case l.errands <- e:
	case <-l.stopped:
		return errClosed
	case <-ctx.Done():
		return outOfTime(ctx, "The ledger was busy until the time was over. Try again.")
	}
	select {
	case err := <-e.done:
		return err
	case <-ctx.Done():
		return outOfTime(ctx, "The ledger is repairing itself; it was not done in time. Try again shortly.")
	}
}

// wholly is inWriter for errands that hand results to their caller: once one is taken up, it is waited for, however
// little time is left. They take no longer than a commit.
func (l *Ledger) wholly(ctx context.Context, f func() error) error {
	e := errand{run: f, done: make(chan error, 1)}
	select {
	case l.errands <- e:
		return <-e.done
	case <-l.stopped:
		return errClosed
	case <-ctx.Done():
		return outOfTime(ctx, "The ledger was busy until the time was over. Try again.")
	}
}

// writer is the one goroutine that decides. While one batch is on its way to disk, in a goroutine of its own, the next
// is decided on top of it; nobody is answered before the commit their answer rests on.
type writer struct {
	*Ledger
	open   *batch     // being decided
	flying *batch     // being committed
	landed chan error // how it went
	lone   bool       // the last batch was of one command
	// A command that did not fit into the open batch; it opens the next.
	left *pending
}

// write is the writer's life.
func (l *Ledger) write() {
	defer close(l.stopped)
	w := &writer{Ledger: l, landed: make(chan error, 1)}
	for {
		queue := l.queue
		if w.flying != nil && w.full() {
			queue = nil
		}
		select {
		case <-l.quit:
			w.settle()
			return
		case err := <-w.landed:
			w.land(err)
		case e := <-l.errands:
			w.settle()
			e.done <- e.run()
		case p := <-queue:
			w.take(p)
		}
		if w.flying == nil {
			w.launch()
		}
	}
}

// full says whether the open batch takes no more.
func (w *writer) full() bool {
	return w.left != nil || w.open != nil && len(w.open.waiting) >= w.batchLimit
}

// take runs a command, and, when nothing is on its way to disk, all that wait.
func (w *writer) take(p *pending) {
	for {
		if p.taken.CompareAndSwap(false, true) {
			w.run(p)
		}
		if w.flying != nil || w.full() {
			return
		}
		select {
		case p = <-w.queue:
		default:
			return
		}
	}
}

// run runs a command on the open batch.
func (w *writer) run(p *pending) {
	if w.broken != nil {
		p.done <- answer{err: w.broken}
		return
	}
	if w.open == nil {
		w.open = w.newBatch(w.flying)
	}
	switch err := w.open.run(p); {
	case errors.Is(err, errFull):
		w.left = p
	case err != nil: // usually a view that must be rebuilt first
		again := append(w.open.waiting, p)
		w.open = nil
		w.settle()
		w.serve(again)
	}
}

// launch sends the open batch on its way to disk.
func (w *writer) launch() {
	for w.flying == nil && w.open != nil {
		b := w.open
		w.open = nil
		switch err := w.prepare(b); {
		case err != nil:
			refuse(b.waiting, err)
		case b.all.layer.count == 0: // nothing to record
			b.answer()
		default:
			w.flying = b
			lone := len(b.waiting) == 1
			commit := w.burn(b.all.layer)
			if lone && w.lone { // a lone client is served faster without the change of goroutines
				w.land(commit())
			} else {
				w.lone = lone
				go func() { w.landed <- commit() }()
			}
		}
		if p := w.left; p != nil {
			w.left = nil
			w.run(p)
		}
	}
}

// land takes note of how the flying batch went, sends the next one off, and then answers.
func (w *writer) land(err error) {
	b := w.flying
	w.flying = nil
	if err != nil {
		w.crash(b, err)
		return
	}
	w.show(b)
	if w.open != nil {
		w.open.all.layer.under = cached{w.current, w.cache}
	}
	w.launch()
	b.answer()
}

// crash deals with a batch that was not committed, and with the one decided on top of it.
func (w *writer) crash(b *batch, err error) {
	again := []*pending(nil)
	if w.open != nil {
		again = w.open.waiting
		w.open = nil
	}
	if w.left != nil {
		again = append(again, w.left)
		w.left = nil
	}
	if w.retract(b, err) {
		half := (len(b.waiting) + 1) / 2
		w.serve(b.waiting[:half])
		w.serve(b.waiting[half:])
	} else {
		refuse(b.waiting, outward(err))
	}
	w.serve(again)
}

// settle waits until everything decided is on disk and answered.
func (w *writer) settle() {
	for w.flying != nil || w.open != nil {
		w.launch()
		if w.flying != nil {
			w.land(<-w.landed)
		}
	}
}

// prepare completes a batch for its commit.
func (l *Ledger) prepare(b *batch) error {
	if b.all.layer.count == 0 {
		return nil
	}
	if err := l.disk.ready(); err != nil {
		return err
	}
	if err := b.finish(); err != nil {
		return fault.Wrap(err, codes.Internal, "TREE_NOT_GROWN", "The ledger's tree could not be extended. Nothing was recorded. Look at the log of the site.")
	}
	return nil
}

// show makes a committed batch visible to readers.
func (l *Ledger) show(b *batch) {
	l.cache.apply(b.all.layer)
	l.publish(b.head, b.all.views)
}

// retract undoes what preparing a batch changed, when its commit failed. It says whether smaller batches may do: when
// the transaction was too big, nothing was written. Any other failure leaves what is on disk unknown, and the ledger
// refuses every further command until it is opened again, which finds out.
func (l *Ledger) retract(b *batch, err error) bool {
	if errors.Is(err, badger.ErrTxnTooBig) && len(b.waiting) > 1 {
		l.tree = b.before
		return true
	}
	if !errors.Is(err, badger.ErrTxnTooBig) {
		l.broken = err
	}
	l.tree = b.before
	return false
}

// serve records commands without haste, one commit after another: for when something went wrong.
func (l *Ledger) serve(waiting []*pending) {
	for repairs := 0; len(waiting) > 0; {
		if l.broken != nil {
			refuse(waiting, l.broken)
			return
		}
		b := l.newBatch(nil)
		n, err := b.runAll(waiting)
		if errors.Is(err, errViewIll) && repairs < 2 {
			repairs++
			if err = l.heal(b.all.ill.views); err == nil {
				continue
			}
		}
		if err == nil {
			if err = l.prepare(b); err == nil && b.all.layer.count > 0 {
				if err = l.burn(b.all.layer)(); err == nil {
					l.show(b)
				} else if l.retract(b, err) {
					l.serve(waiting[:n/2])
					waiting = waiting[n/2:]
					continue
				}
			}
		}
		if err == nil {
			b.answer()
		} else {
			refuse(waiting[:n], outward(err))
		}
		waiting = waiting[n:]
	}
}

// runAll runs commands until one does not fit any more. It says how many it ran.
func (b *batch) runAll(waiting []*pending) (int, error) {
	for i, p := range waiting {
		switch err := b.run(p); {
		case errors.Is(err, errFull):
			return i, nil
		case err != nil:
			return len(waiting), err
		}
	}
	return len(waiting), nil
}

func refuse(waiting []*pending, err error) {
	for _, p := range waiting {
		p.done <- answer{err: err}
	}
}

// store writes a layer to disk, all or nothing, from within the writer.
func (l *Ledger) store(changes *layer) error {
	if l.broken != nil {
		return l.broken
	}
	if err := l.disk.ready(); err != nil {
		return err
	}
	err := l.burn(changes)()
	if err != nil && !errors.Is(err, badger.ErrTxnTooBig) {
		l.broken = err
	}
	return err
}

// commit commits a transaction and makes it last.
func (l *Ledger) commit(txn *badger.Txn) error {
	if err := txn.Commit(); err != nil {
		return err
	}
	return l.disk.sync()
}

// burn makes the transaction that writes a layer, all or nothing. What it gives commits it, in any goroutine.
func (l *Ledger) burn(changes *layer) (commit func() error) {
	txn := l.db.NewTransaction(true)
	err := changes.write(txn)
	return func() error {
		defer txn.Discard()
		if err == nil {
			err = l.sync(txn)
		}
		if err == nil || errors.Is(err, badger.ErrTxnTooBig) {
			return err
		}
		l.log.Error("the ledger's store failed", "site", l.site, "error", err)
		return fault.Wrap(err, codes.Unavailable, "STORE_FAILED",
			"The ledger's disk failed while recording. Whether the last commands were recorded will be known when the site has been started again; ask again with the same request ids.")
	}
}
