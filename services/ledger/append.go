package ledger

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// pending is a command on its way through the writer.
type pending struct {
	command Command
	mark    []byte      // of the fingerprint
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
	if c.RequestID != "" {
		p.mark = makeMark(l.keys.markKey(), c.Fingerprint)
	}
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
