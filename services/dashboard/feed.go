package dashboard

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"sync"
	"time"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// Feed gives committed ledger entries as they arrive.
type Feed interface {
	// Follow calls f with every committed entry of the given kinds, in order, from the newest at the time of the call
	// on, until ctx ends; then it returns nil. f is quick and is never called by two goroutines at once. A feed that
	// loses its source waits for it and goes on after the last entry it gave. f(nil) says that entries may have been
	// missed. Follow returns an error only when it cannot go on.
	Follow(ctx context.Context, kinds []string, f func(*ledgerv1.Entry)) error
}

// kindAssessed is the only event that changes these pages' results.
const kindAssessed = "DrillAssessed"

// Limits of the fan-out.
const (
	mostBrowsers = 500 // event streams open at once
	queueLength  = 32  // notices a browser may be behind before it is told to read anew
)

// fanout gives one feed's entries to many browsers.
type fanout struct {
	epoch string // tells this run of the program from another

	mu       sync.Mutex
	count    uint64 // entries given so far
	browsers map[*browser]struct{}
	closed   bool
}

// browser is one open event stream. Its queue never grows: when it is full, what is in it is dropped for one notice
// that says to read the page anew.
type browser struct {
	wake  chan struct{}
	queue []notice
	gone  bool
}

// notice is what a browser is told.
type notice struct {
	place string
	entry *ledgerv1.Entry // nil: some were dropped, read the page anew
}

func newFanout() *fanout {
	return &fanout{epoch: rand.Text()[:8], browsers: map[*browser]struct{}{}}
}

// place names where the feed stands: equal places mean that nothing happened between.
func (f *fanout) place() string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.placeLocked()
}

func (f *fanout) placeLocked() string { return fmt.Sprintf("%s-%d", f.epoch, f.count) }

// follow feeds the browsers until ctx ends, and asks again, with growing patience, when the feed gives up.
func (f *fanout) follow(ctx context.Context, feed Feed, log *slog.Logger) {
	wait := time.Second
	for ctx.Err() == nil {
		began := f.place()
		err := feed.Follow(ctx, []string{kindAssessed}, f.give)
		if ctx.Err() != nil {
			return
		}
		if f.place() != began {
			wait = time.Second
		}
		log.Warn("the pages' feed ended; asking again", "after", wait, "error", err)
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
		wait = min(2*wait, 30*time.Second)
		f.give(nil) // something may have been missed between: every page reads anew
	}
}

// give hands an entry to every browser; nil stands for entries that may have been missed.
func (f *fanout) give(e *ledgerv1.Entry) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.count++
	n := notice{place: f.placeLocked(), entry: e}
	for b := range f.browsers {
		if len(b.queue) >= queueLength {
			b.queue = append(b.queue[:0], notice{place: n.place})
		} else {
			b.queue = append(b.queue, n)
		}
		b.rouse()
	}
}

func (b *browser) rouse() {
	select {
	case b.wake <- struct{}{}:
	default: // it has been roused already
	}
}

// join adds a browser and says where the feed stands. It says no when too many are open or the pages are closed.
func (f *fanout) join() (b *browser, place string, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.closed || len(f.browsers) >= mostBrowsers {
		return nil, "", false
	}
	b = &browser{wake: make(chan struct{}, 1)}
	f.browsers[b] = struct{}{}
	return b, f.placeLocked(), true
}

func (f *fanout) leave(b *browser) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.browsers, b)
}

// take empties a browser's queue; more is false when the stream is to end.
func (f *fanout) take(b *browser) (now []notice, more bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	now, b.queue = b.queue, nil
	return now, !b.gone
}

// close ends every stream and lets nobody join.
func (f *fanout) close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.closed = true
	for b := range f.browsers {
		b.gone = true
		b.rouse()
	}
}
