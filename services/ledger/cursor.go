package ledger

import "context"

// ForgetCursor makes the ledger forget that something named ever carried it elsewhere. It is for a copy that is gone for
// good, so that a new one is begun: someone must have made sure that it is.
func (l *Ledger) ForgetCursor(ctx context.Context, name string) error {
	return l.inWriter(ctx, func() error {
		changes := newLayer(nil)
		changes.remove(spaceCursor, name)
		if err := l.store(changes); err != nil {
			return err
		}
		l.publish(l.current.head, l.current.views)
		return nil
	})
}
