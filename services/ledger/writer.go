package ledger

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// pending is a command on its way through the writer.
type pending struct {
	command Command
	taken   atomic.Bool // by the writer, which then owes an answer, or by the caller, who gave up
	done    chan answer
}

type answer struct {
	receipt Receipt
	err     error
}

// Append has one command decided and recorded. When it returns without an error the entries are on disk and every view
// shows them. When ctx ends before the writer has taken the command up, nothing is recorded and the error says so; from
// then on Append waits for the outcome, which takes as long as a commit.
func (l *Ledger) Append(ctx context.Context, c Command) (Receipt, error) {
	if err := c.check(); err != nil {
		return Receipt{}, err
	}
	p := &pending{command: c, done: make(chan answer, 1)}
	select {
	case l.queue <- p:
	default:
		if err := l.queueUp(ctx, p); err != nil {
			return Receipt{}, err
		}
	}
	select {
	case a := <-p.done:
		return a.receipt, a.err
	case <-l.stopped:
	case <-ctx.Done():
		if p.taken.CompareAndSwap(false, true) {
			return Receipt{}, outOfTime(ctx, "The command waited for its turn until its time was over. Nothing was recorded. Try again.")
		}
	}
	select {
	case a := <-p.done:
		return a.receipt, a.err
	case <-l.stopped:
	}
	select { // the writer may have answered just before it stopped
	case a := <-p.done:
		return a.receipt, a.err
	default:
		return Receipt{}, errClosed
	}
}

// queueUp waits for a place in a full queue.
func (l *Ledger) queueUp(ctx context.Context, p *pending) error {
	select {
	case l.queue <- p:
		return nil
	case <-l.stopped:
		return errClosed
	case <-ctx.Done():
		return fault.Wrap(ctx.Err(), codes.ResourceExhausted, "LEDGER_BUSY",
			fmt.Sprintf("The ledger is busy: %d commands wait already, and no place became free in time. Nothing was recorded. Try again in a moment.", cap(l.queue)))
	}
}

var errClosed = fault.New(codes.Unavailable, "LEDGER_CLOSED", "The ledger is closed, or closing. Nothing was recorded. Start the site again.")

// outOfTime makes the error of a context that ended.
func outOfTime(ctx context.Context, sentence string) error {
	code := codes.DeadlineExceeded
	if errors.Is(ctx.Err(), context.Canceled) {
		code = codes.Canceled
	}
	return fault.Wrap(ctx.Err(), code, "OUT_OF_TIME", sentence)
}

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

// write is the one writer.
func (l *Ledger) write() {
	defer close(l.stopped)
	for {
		select {
		case <-l.quit:
			return
		default:
		}
		select {
		case <-l.quit:
			return
		case e := <-l.errands:
			e.done <- e.run()
		case p := <-l.queue:
			l.serve(l.gather(p))
		}
	}
}

// gather takes what waits, up to the limit of a batch.
func (l *Ledger) gather(first *pending) []*pending {
	var batch []*pending
	for p := first; ; {
		if p.taken.CompareAndSwap(false, true) {
			batch = append(batch, p)
		}
		if len(batch) == l.batchLimit {
			return batch
		}
		select {
		case p = <-l.queue:
		default:
			return batch
		}
	}
}

// serve records a batch, in as many transactions as it takes.
func (l *Ledger) serve(waiting []*pending) {
	for len(waiting) > 0 {
		if l.broken != nil {
			refuse(waiting, l.broken)
			return
		}
		waiting = waiting[l.attempt(waiting):]
	}
}

func refuse(waiting []*pending, err error) {
	for _, p := range waiting {
		p.done <- answer{err: err}
	}
}

// attempt records as many of the waiting commands as fit into one transaction and answers them. It says how many.
func (l *Ledger) attempt(waiting []*pending) int {
	for repairs := 0; ; repairs++ {
		b := l.newBatch(l.current)
		n, err := b.runAll(waiting)
		if err == nil {
			err = l.commit(b)
		}
		switch {
		case err == nil:
			for _, a := range b.answers {
				a.to.done <- a.answer
			}
			return n
		case errors.Is(err, badger.ErrTxnTooBig) && n > 1: // the estimate was too low; nothing was written
			waiting = waiting[:n/2]
			continue
		case errors.Is(err, errViewIll) && repairs < 2:
			if err = l.heal(b.all.ill.views); err == nil {
				continue
			}
		}
		refuse(waiting[:n], outward(err))
		return n
	}
}

// runAll runs commands until one does not fit any more.
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

// commit writes a batch in one transaction and shows it to readers. When the store fails, what is on disk is unknown:
// the ledger then refuses every further command until it is opened again, which finds out.
func (l *Ledger) commit(b *batch) error {
	if b.all.layer.count == 0 {
		return nil
	}
	head, tree, err := b.finish(l.tree)
	if err != nil {
		return fault.Wrap(err, codes.Internal, "TREE_NOT_GROWN", "The ledger's tree could not be extended. Nothing was recorded. Look at the log of the site.")
	}
	if err := l.store(b.all.layer); err != nil {
		return err
	}
	l.tree = tree
	l.publish(head, b.all.views)
	return nil
}

// store writes a layer to disk, all or nothing.
func (l *Ledger) store(changes *layer) error {
	txn := l.db.NewTransaction(true)
	defer txn.Discard()
	err := changes.write(txn)
	if err == nil {
		err = l.sync(txn)
	}
	if err == nil || errors.Is(err, badger.ErrTxnTooBig) {
		return err
	}
	l.log.Error("the ledger's store failed", "error", err)
	l.broken = fault.Wrap(err, codes.Unavailable, "STORE_FAILED",
		"The ledger's disk failed while recording. Whether the last commands were recorded will be known when the site has been started again; ask again with the same request ids.")
	return l.broken
}
