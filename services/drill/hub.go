package drill

import "sync"

// hub tells watchers that a drill has changed. A watcher is told only that there is something new; it reads the newest
// state itself, so one that is slow skips what lies between and never holds anyone up.
type hub struct {
	mu       sync.Mutex
	watchers map[string]map[chan struct{}]bool
	closed   chan struct{}
	once     sync.Once
}

func newHub() *hub {
	return &hub{watchers: map[string]map[chan struct{}]bool{}, closed: make(chan struct{})}
}

// watch gives a channel that receives after each change, and what ends it.
func (h *hub) watch(id string) (changed <-chan struct{}, stop func()) {
	c := make(chan struct{}, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.watchers[id] == nil {
		h.watchers[id] = map[chan struct{}]bool{}
	}
	h.watchers[id][c] = true
	return c, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.watchers[id], c)
		if len(h.watchers[id]) == 0 {
			delete(h.watchers, id)
		}
	}
}

// tell says that a drill has changed.
func (h *hub) tell(id string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.watchers[id] {
		select {
		case c <- struct{}{}:
		default: // it has not yet looked at the last change and will see this one with it
		}
	}
}

// close ends all watching.
func (h *hub) close() { h.once.Do(func() { close(h.closed) }) }
