package drill

import (
	"container/list"
	"sync"

	"zonule/scenarios/play"
)

// session is the model eye of one running drill. Whoever holds its lock may play on it.
type session struct {
	id string
	mu sync.Mutex
	// drill is nil until it is needed, and again after something could not be recorded.
	drill *play.Drill
	// at is where the drill stands on record, as long as there is a drill.
	at standing
	// ahead: the drill has taken a decision that is not, or not known to be, on record.
	ahead bool

	users   int // of the entry, under the cache's lock
	element *list.Element
}

// sessions is a bounded cache, the least recently used out first. A session in use is never put out.
type sessions struct {
	mu    sync.Mutex
	limit int
	byID  map[string]*session
	order *list.List // of *session, the most recently used first
}

func newSessions(limit int) *sessions {
	return &sessions{limit: limit, byID: map[string]*session{}, order: list.New()}
}

// enter gives the drill's session, locked. leave must follow.
func (c *sessions) enter(id string) *session {
	c.mu.Lock()
	s := c.byID[id]
	if s == nil {
		s = &session{id: id}
		s.element = c.order.PushFront(s)
		c.byID[id] = s
	}
	s.users++
	c.order.MoveToFront(s.element)
	c.mu.Unlock()
	s.mu.Lock()
	return s
}

// leave unlocks the session and makes room. A drill that is ahead of the record is forgotten; sessions without a drill
// are not kept.
func (c *sessions) leave(s *session) {
	if s.ahead {
		s.drill, s.ahead = nil, false
	}
	empty := s.drill == nil
	s.mu.Unlock()
	c.mu.Lock()
	defer c.mu.Unlock()
	s.users--
	if empty && s.users == 0 {
		c.drop(s)
	}
	for e := c.order.Back(); e != nil && c.order.Len() > c.limit; {
		last := e.Value.(*session)
		e = e.Prev()
		if last.users == 0 {
			c.drop(last)
		}
	}
}

func (c *sessions) drop(s *session) {
	delete(c.byID, s.id)
	c.order.Remove(s.element)
}

// count is how many sessions are kept.
func (c *sessions) count() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.order.Len()
}
