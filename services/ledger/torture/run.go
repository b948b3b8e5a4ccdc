package torture

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"time"
)

// Options say how to torture.
type Options struct {
	Rounds  int
	Seed    uint64
	Clients int    // 5 when 0
	Flips   int    // bytes flipped in a round of that fault, one after the other; 3 when 0
	Work    string // a folder that is empty or not there; a temporary one when empty
	Starter Starter
	Out     io.Writer // gets a line for each round, and the last line
}

// Result is what it came to.
type Result struct {
	Rounds       int
	Acknowledged int64
	Lost         int
	Wrong        []string // what must not be, a sentence each
	Faults       map[string]int
	Outcomes     map[string]int // of flipped bytes
	Refusals     map[string]int
	Kills        map[string]int // with kill -9, by role
}

// String is the last line.
func (r Result) String() string {
	return fmt.Sprintf("torture: %d rounds, %d acknowledged, %d lost", r.Rounds, r.Acknowledged, r.Lost)
}

// Table gives the figures, a line each.
func (r Result) Table() string {
	var b strings.Builder
	for _, part := range []struct {
		title string
		n     map[string]int
	}{{"fault", r.Faults}, {"kill -9", r.Kills}, {"flipped byte", r.Outcomes}, {"refusal", r.Refusals}} {
		for _, k := range slices.Sorted(maps.Keys(part.n)) {
			fmt.Fprintf(&b, "%-14s %-64s %6d\n", part.title, k, part.n[k])
		}
	}
	return b.String()
}

// torturer is one run.
type torturer struct {
	Options
	random  *rand.Rand
	station *station
	clients *clients
	result  Result
	file    int // the next file to flip a byte of
}

// trouble is one thing that is done to a site under load. It begins with a running site and clients at work, and ends with
// a running site; the clients may have been stopped.
type trouble struct {
	name string
	do   func(*torturer) error
}

// Run tortures a fresh ledger. The error says why it could not go on; what was found wrong stands in the result.
func Run(ctx context.Context, o Options) (Result, error) {
	if o.Clients == 0 {
		o.Clients = 5
	}
	if o.Flips == 0 {
		o.Flips = 3
	}
	if o.Work == "" {
		dir, err := os.MkdirTemp("", "zt")
		if err != nil {
			return Result{}, err
		}
		defer func() { _ = os.RemoveAll(dir) }()
		o.Work = dir
	} else if held, err := os.ReadDir(o.Work); err == nil && len(held) > 0 {
		return Result{}, fmt.Errorf("the folder %s holds something; torture needs an empty one", o.Work)
	}
	s, err := newStation(o.Starter, o.Work, 0)
	if err != nil {
		return Result{}, err
	}
	t := &torturer{Options: o, random: rand.New(rand.NewPCG(o.Seed, 0x7a6f6e)), station: s}
	t.clients = &clients{station: s, count: o.Clients, seed: o.Seed, refused: map[string]int{}}
	t.result = Result{Faults: map[string]int{}, Outcomes: map[string]int{}}
	defer s.killAll()
	if err := s.start(); err != nil {
		return t.result, err
	}
	var cycle []trouble
	for t.result.Rounds < o.Rounds {
		if err := ctx.Err(); err != nil {
			return t.result, err
		}
		if len(cycle) == 0 {
			cycle = slices.Clone(troubles)
			t.random.Shuffle(len(cycle), func(i, j int) { cycle[i], cycle[j] = cycle[j], cycle[i] })
		}
		f := cycle[0]
		cycle = cycle[1:]
		began := time.Now()
		if err := t.round(f); err != nil {
			return t.result, fmt.Errorf("round %d, %s: %w", t.result.Rounds+1, f.name, err)
		}
		t.result.Rounds++
		t.result.Faults[f.name]++
		t.result.Acknowledged = t.clients.acks.Load()
		fmt.Fprintf(o.Out, "round %3d  %-34s %7d acknowledged, %d lost  (%.1f s)\n", t.result.Rounds, f.name, t.result.Acknowledged, t.result.Lost, time.Since(began).Seconds())
	}
	t.result.Refusals = t.clients.refused
	t.result.Kills = map[string]int{"site processes": s.siteKills, "NATS processes": s.natsKills}
	fmt.Fprint(o.Out, t.result.Table())
	fmt.Fprintln(o.Out, t.result)
	return t.result, nil
}

// round sets the clients going, lets the fault happen, waits until everything is answered, and judges.
func (t *torturer) round(f trouble) error {
	t.clients.begin()
	t.pause(20, 120)
	err := f.do(t)
	if endErr := t.clients.end(); err != nil || endErr != nil {
		return errors.Join(err, endErr)
	}
	return t.judge(f.name)
}

// pause waits a random time, in milliseconds.
func (t *torturer) pause(least, most int) {
	time.Sleep(time.Duration(least+t.random.IntN(most-least)) * time.Millisecond)
}

// judge reads the whole ledger, compares it with everything that was ever answered, and has the ledger check itself.
func (t *torturer) judge(name string) error {
	entries, r, err := t.station.read()
	if err != nil {
		return err
	}
	if r.Reason != "" {
		t.wrong(name, "the ledger cannot be read: %s [%s]", r.Sentence, r.Reason)
		return nil
	}
	t.clients.mu.Lock()
	wrong, lost := Judge(t.clients.history, entries)
	t.clients.mu.Unlock()
	t.result.Lost += lost
	for _, w := range wrong {
		t.wrong(name, "%s", w)
	}
	check, err := t.station.ask(question{Do: "check"})
	if err != nil {
		return err
	}
	if !check.Clean {
		t.wrong(name, "the check finds: %s", check.Sentence)
	}
	if len(t.result.Wrong) > 20 {
		return errors.New("too much is wrong to go on: " + strings.Join(t.result.Wrong, "\n"))
	}
	return nil
}

func (t *torturer) wrong(name, format string, a ...any) {
	w := fmt.Sprintf("round %d, %s: ", t.result.Rounds+1, name) + fmt.Sprintf(format, a...)
	t.result.Wrong = append(t.result.Wrong, w)
	fmt.Fprintf(t.Out, "WRONG %s\n", w)
}
