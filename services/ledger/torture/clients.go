package torture

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"
)

// clients record and read at random, and remember what they asked and what they were told.
type clients struct {
	station *station
	clock   atomic.Int64 // ticks
	count   int
	seed    uint64
	round   int

	mu      sync.Mutex
	history []Ask
	refused map[string]int // reasons
	acks    atomic.Int64
	stop    atomic.Bool
	living  atomic.Int64
	all     sync.WaitGroup
}

// keys are few, so that clients meet; and a client asks only so much in a round, for everything asked is judged after
// every round.
const keys, mostAsks = 7, 120

// begin sets the clients going for one round.
func (c *clients) begin() {
	c.round++
	c.stop.Store(false)
	for i := range c.count {
		random := rand.New(rand.NewPCG(c.seed, uint64(c.round)<<16|uint64(i)))
		name := fmt.Sprintf("client-%d", i)
		c.living.Add(1)
		c.all.Go(func() { defer c.living.Add(-1); c.live(name, random) })
	}
}

// finished says whether every client has asked all it was going to in this round.
func (c *clients) finished() bool { return c.living.Load() == 0 }

// end lets every command be answered, and waits for that.
func (c *clients) end() error {
	c.stop.Store(true)
	done := make(chan struct{})
	go func() { c.all.Wait(); close(done) }()
	select {
	case <-done:
		return nil
	case <-time.After(90 * time.Second):
		return fmt.Errorf("some client got no answer for 90 s")
	}
}

// live is one client's round.
func (c *clients) live(name string, random *rand.Rand) {
	var l *line
	defer func() {
		if l != nil {
			_ = l.conn.Close()
		}
	}()
	for n := 0; n < mostAsks && !c.stop.Load(); n++ {
		a := Ask{Client: name, Key: fmt.Sprint("k", random.IntN(keys)), Began: c.clock.Add(1)}
		q := question{Do: "read", Key: a.Key}
		if random.IntN(4) > 0 {
			a.Write, a.ID, a.Add = true, fmt.Sprintf("%d-%s-%d", c.round, name, n), 1+random.Int64N(9)
			q = question{Do: "add", ID: a.ID, Key: a.Key, Add: a.Add}
		}
		r, ok := c.answered(&l, q, a.Write)
		if ok {
			a.Done, a.Sequence, a.Sum, a.NoSum = c.clock.Add(1), r.Sequence, r.Sum, r.Repeated
			if a.Write {
				c.acks.Add(1)
			}
		}
		c.mu.Lock()
		c.history = append(c.history, a)
		c.mu.Unlock()
		if random.IntN(8) == 0 {
			time.Sleep(time.Duration(random.IntN(3)) * time.Millisecond)
		}
	}
}

// answered asks until there is an answer, over kills and refusals, with the same request id. A read that fails is given
// up.
func (c *clients) answered(l **line, q question, insist bool) (reply, bool) {
	for {
		if *l == nil {
			*l, _ = c.station.dial() // nobody is there: tried again
		}
		if *l != nil {
			r, err := (*l).ask(q)
			if err == nil && r.Reason == "" {
				return r, true
			}
			if err != nil {
				_ = (*l).conn.Close()
				*l = nil
			} else {
				c.mu.Lock()
				c.refused[r.Reason]++
				c.mu.Unlock()
			}
		}
		if !insist {
			return reply{}, false
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// refusals says how often a reason was given so far.
func (c *clients) refusals(reason string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.refused[reason]
}
