package ledger

import (
	"context"
	"fmt"
	"strconv"

	"google.golang.org/grpc/codes"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// Read calls f with the views as one commit left them, at least as fresh as the position (nil: as they are). It waits
// for that, and for a view in repair, until ctx ends. When f meets a damaged row the view is built again and f is called
// again, so f must start afresh each time.
func (l *Ledger) Read(ctx context.Context, atLeast *ledgerv1.Position, f func(r Reader) error) error {
	if err := l.fresh(ctx, atLeast); err != nil {
		return err
	}
	for repairs := 0; ; repairs++ {
		ill, err := l.readOnce(f)
		if len(ill) == 0 || repairs == 2 {
			return err
		}
		if err := l.inWriter(ctx, func() error { return l.heal(ill) }); err != nil {
			return outward(err)
		}
	}
}

func (l *Ledger) readOnce(f func(r Reader) error) ([]viewState, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	r := &reader{site: l.site, rows: snap, views: snap.views, size: snap.head.Size, total: snap.total(), ill: &illness{}}
	err = f(r)
	if err == nil && len(r.ill.views) > 0 {
		err = errViewIll
	}
	return r.ill.views, err
}

// fresh waits for a position.
func (l *Ledger) fresh(ctx context.Context, atLeast *ledgerv1.Position) error {
	if atLeast == nil || (atLeast.GetSequence() == 0 && atLeast.GetSite() == "") {
		return nil
	}
	if atLeast.GetSite() != l.site {
		if copied, err := l.CopyOf(atLeast.GetSite()); err == nil && copied.VerifierKey != "" {
			return l.freshCopy(ctx, atLeast)
		}
		return fault.New(codes.InvalidArgument, "POSITION_OF_OTHER_SITE", fmt.Sprintf("The position is one of site %q, but this is the ledger of %q.", atLeast.GetSite(), l.site))
	}
	err := l.Await(ctx, atLeast.GetSequence())
	if err != nil && ctx.Err() != nil {
		return outOfTime(ctx, fmt.Sprintf("The ledger stands at entry %d; entry %d was asked for and did not come in time.", l.Head().Size, atLeast.GetSequence()))
	}
	return err
}

// freshCopy waits until the views show another site's entry.
func (l *Ledger) freshCopy(ctx context.Context, atLeast *ledgerv1.Position) error {
	for {
		l.mu.Lock()
		closed, moved, folded := l.closed || l.current == nil, l.moved, uint64(0)
		if !closed {
			if i := findCopy(l.current.place.copies, atLeast.GetSite()); i >= 0 {
				folded = l.current.place.copies[i].folded
			}
		}
		l.mu.Unlock()
		switch {
		case closed:
			return errClosed
		case folded >= atLeast.GetSequence():
			return nil
		}
		select {
		case <-moved:
		case <-l.quit:
			return errClosed
		case <-ctx.Done():
			return outOfTime(ctx, fmt.Sprintf("The copy of the ledger of site %q stands at entry %d; entry %d was asked for and did not come in time.", atLeast.GetSite(), folded, atLeast.GetSequence()))
		}
	}
}

// Cursor says up to which entry something named has carried the ledger elsewhere, and whether it ever did.
func (l *Ledger) Cursor(name string) (sequence uint64, known bool, err error) {
	snap, err := l.acquire()
	if err != nil {
		return 0, false, err
	}
	defer snap.release()
	r, ok, err := snap.get(spaceCursor, name)
	if err != nil || !ok {
		return 0, false, outward(err)
	}
	sequence, ok = sequenceOfKey(string(r.value))
	if !ok {
		return 0, false, (&damagedRow{spaceCursor, name}).fault()
	}
	return sequence, true, nil
}

// SetCursor remembers, on disk when it returns, up to which entry something named has carried the ledger elsewhere. A
// cursor beyond the end is refused; one that goes back is not.
func (l *Ledger) SetCursor(name string, sequence uint64) error {
	if err := checkName("cursor", name, 1); err != nil {
		return err
	}
	return l.inWriter(context.Background(), func() error {
		if sequence > l.current.head.Size {
			return fault.New(codes.OutOfRange, "BEYOND_THE_END", fmt.Sprintf("The ledger ends at entry %d; nothing can have carried entry %d.", l.current.head.Size, sequence), "size", strconv.FormatUint(l.current.head.Size, 10))
		}
		changes := newLayer(nil)
		changes.put(spaceCursor, name, storedRow([]byte(sequenceKey(sequence))))
		if err := l.store(changes); err != nil {
			return err
		}
		l.publish(l.current.head, l.current.views)
		return nil
	})
}
