package torture

import (
	"fmt"
	"slices"
)

// Ask is one question of a client and, if it came, the answer. Times are ticks of one counter for all clients: an ask
// whose Done is before another's Began was over when that one began.
type Ask struct {
	Client string
	Write  bool
	ID     string // of the request; writes only
	Key    string
	Add    int64
	Began  int64
	Done   int64 // 0: no answer came
	// The answer: the entry's sequence (of the read: the position it was made at) and the key's sum there.
	Sequence uint64
	Sum      int64
	NoSum    bool // the sum was not told: a command asked for again is answered with its place only
}

// Entry is what the ledger holds.
type Entry struct {
	Sequence uint64
	ID       string
	Key      string
	Add      int64
}

// Judge compares a history with the entries of the ledger. It gives one sentence for each thing that must not be, and how
// many acknowledged commands are not in the ledger.
func Judge(history []Ask, entries []Entry) (wrong []string, lost int) {
	say := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	place := map[string]uint64{}
	sums := map[string][]at{}
	for i, e := range entries {
		if e.Sequence != uint64(i)+1 {
			say("entry %d lies at place %d", e.Sequence, i+1)
		}
		if was, twice := place[e.ID]; twice {
			say("command %s was recorded twice, at %d and %d", e.ID, was, e.Sequence)
		}
		place[e.ID] = e.Sequence
		sums[e.Key] = append(sums[e.Key], at{e.Sequence, sumAt(sums[e.Key], e.Sequence) + e.Add})
	}
	asked := map[string]Ask{}
	for _, a := range history {
		if a.Write {
			asked[a.ID] = a
		}
		if a.Done == 0 {
			continue
		}
		if a.Write {
			switch where, there := place[a.ID]; {
			case !there:
				lost++
				say("command %s of %s was acknowledged at %d and is not in the ledger of %d entries", a.ID, a.Client, a.Sequence, len(entries))
			case where != a.Sequence:
				say("command %s was acknowledged at %d and lies at %d", a.ID, a.Sequence, where)
			}
		}
		if a.Sequence > uint64(len(entries)) {
			if !a.Write {
				say("%s read at position %d of a ledger of %d entries", a.Client, a.Sequence, len(entries))
			}
			continue
		}
		if want := sumAt(sums[a.Key], a.Sequence); a.Sum != want && !a.NoSum {
			say("%s was told that %s is %d at %d; it is %d", a.Client, a.Key, a.Sum, a.Sequence, want)
		}
	}
	for _, e := range entries {
		if a, known := asked[e.ID]; !known || a.Key != e.Key || a.Add != e.Add {
			say("entry %d holds a command %q that nobody gave like that", e.Sequence, e.ID)
		}
	}
	return append(wrong, outOfOrder(history)...), lost
}

// at is a key's sum from an entry on.
type at struct {
	sequence uint64
	sum      int64
}

func sumAt(sums []at, sequence uint64) int64 {
	i, found := slices.BinarySearchFunc(sums, sequence, func(a at, s uint64) int {
		switch {
		case a.sequence < s:
			return -1
		case a.sequence > s:
			return 1
		}
		return 0
	})
	if found {
		return sums[i].sum
	}
	if i == 0 {
		return 0
	}
	return sums[i-1].sum
}

// outOfOrder finds asks that did not see what was answered before they began: a write must come behind it, and a read
// must be made at that place or later.
func outOfOrder(history []Ask) (wrong []string) {
	answered := make([]Ask, 0, len(history))
	for _, a := range history {
		if a.Done != 0 {
			answered = append(answered, a)
		}
	}
	byBegin, byDone := slices.Clone(answered), answered
	slices.SortFunc(byBegin, func(a, b Ask) int { return int(a.Began - b.Began) })
	slices.SortFunc(byDone, func(a, b Ask) int { return int(a.Done - b.Done) })
	seen, next := Ask{}, 0
	for _, a := range byBegin {
		for ; next < len(byDone) && byDone[next].Done < a.Began; next++ {
			if byDone[next].Sequence > seen.Sequence {
				seen = byDone[next]
			}
		}
		if a.Sequence < seen.Sequence || a.Write && a.Sequence == seen.Sequence && a.ID != seen.ID {
			wrong = append(wrong, fmt.Sprintf("%s was answered with place %d, though %s had been answered with %d before it asked", a.Client, a.Sequence, seen.Client, seen.Sequence))
		}
	}
	return wrong
}
