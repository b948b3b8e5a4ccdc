// Package clock is the only place that asks what time it is. Offices take a Clock, so that a
// test or an invented programme can live on days of its own.
package clock

import (
	"sync"
	"time"
)

// Clock tells the time.
type Clock interface {
	Now() time.Time
}

// System is the machine's clock, in UTC.
type System struct{}

// Now gives the machine's time in UTC.
func (System) Now() time.Time { return time.Now().UTC() }

// Set is a clock that stands where it was put, until it is released. Safe for use by several goroutines.
type Set struct {
	mu       sync.Mutex
	now      time.Time
	released bool
}

// NewSet gives a clock that stands at t.
func NewSet(t time.Time) *Set { return &Set{now: t} }

// Now gives the time the clock stands at, or the machine's once it was released.
func (s *Set) Now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.released {
		return System{}.Now()
	}
	return s.now
}

// Release makes the clock give the machine's time from now on.
func (s *Set) Release() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.released = true
}

// Put sets the clock to t. It has no effect after Release.
func (s *Set) Put(t time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = t
}

// Add moves the clock on by d and gives the new time.
func (s *Set) Add(d time.Duration) time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
	return s.now
}
