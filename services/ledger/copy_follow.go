package ledger

import (
	"context"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// FollowCopies calls f with every entry of other sites that is folded from now on, each site's in order, until f gives an
// error, ctx ends or the ledger is closed. It returns why it ended.
func (l *Ledger) FollowCopies(ctx context.Context, f func(*ledgerv1.Entry) error) error {
	seen, first := map[string]uint64{}, true
	for {
		l.mu.Lock()
		closed, moved := l.closed || l.current == nil, l.moved
		l.mu.Unlock()
		if closed {
			return errClosed
		}
		copies, err := l.Copies()
		if err != nil {
			return err
		}
		for _, c := range copies {
			if first || c.Folded < seen[c.Site] { // or it was taken back
				seen[c.Site] = c.Folded
			}
			for seen[c.Site] < c.Folded {
				run, err := l.CopiedEntries(ctx, c.Site, seen[c.Site]+1, int(min(foldAtOnce, c.Folded-seen[c.Site])))
				if err != nil {
					return err
				}
				for _, one := range run {
					e, err := one.Entry()
					if err != nil {
						return err
					}
					if err := f(e); err != nil {
						return err
					}
				}
				seen[c.Site] += uint64(len(run))
			}
		}
		first = false
		select {
		case <-moved:
		case <-l.quit:
			return errClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
