package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// Other sites' entries are folded into the same views as the own, in the order in which they came to be known here. That
// order is nobody's property but this site's, so it is kept: rows of the order space, numbered from 1, each a run of
// entries of one other site and the number of own entries that were folded before it. Each site's own order is kept, and
// rebuilding a view or checking it folds in the same order again.

// copyState says how far the copy of another site's ledger is.
type copyState struct {
	site     string
	received uint64 // entries kept, dense, with their tree
	verified uint64 // of them covered by a checkpoint the site signed
	folded   uint64 // of them shown by the views
}

// places says where the entries of other sites are among the own.
type places struct {
	runs   uint64 // rows of the order
	copies []copyState
}

// folded is how many entries of other sites the views show.
func (p places) folded() (n uint64) {
	for _, c := range p.copies {
		n += c.folded
	}
	return n
}

// with gives the places with one copy changed or added.
func (p places) with(state copyState) places {
	next := places{runs: p.runs, copies: slices.Clone(p.copies)}
	if i := findCopy(next.copies, state.site); i >= 0 {
		next.copies[i] = state
	} else {
		next.copies = append(next.copies, state)
	}
	return next
}

func findCopy(copies []copyState, site string) int {
	return slices.IndexFunc(copies, func(c copyState) bool { return c.site == site })
}

// total is how many entries, of whatever site, the order of folding has: the position of views that are up to date.
func (s *snapshot) total() uint64 { return s.head.Size + s.place.folded() }

func encodePlaces(p places) []byte {
	b := binary.AppendUvarint(nil, p.runs)
	for _, c := range p.copies {
		b = appendName(b, c.site)
		for _, n := range []uint64{c.received, c.verified, c.folded} {
			b = binary.AppendUvarint(b, n)
		}
	}
	return b
}

func decodePlaces(b []byte) (places, error) {
	d := decoder{rest: b}
	p := places{runs: d.number()}
	for len(d.rest) > 0 && !d.short {
		p.copies = append(p.copies, copyState{site: d.name(), received: d.number(), verified: d.number(), folded: d.number()})
	}
	if d.short {
		return places{}, errShort
	}
	return p, nil
}

// run is a row of the order: count entries of a site, from its entry first on, come after so many own entries.
type run struct {
	after, first, count uint64
	site                string
}

func (r run) encode() []byte {
	b := binary.AppendUvarint(nil, r.after)
	b = binary.AppendUvarint(b, r.first)
	b = binary.AppendUvarint(b, r.count)
	return appendName(b, r.site)
}

func decodeRun(b []byte) (run, error) {
	d := decoder{rest: b}
	r := run{after: d.number(), first: d.number(), count: d.number(), site: d.name()}
	if d.short || len(d.rest) > 0 {
		return run{}, errShort
	}
	return r, nil
}

func appendName(b []byte, name string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(name))), name...)
}

// decoder takes numbers and names off a stored record.
type decoder struct {
	rest  []byte
	short bool
}

func (d *decoder) number() uint64 {
	n, size := binary.Uvarint(d.rest)
	if size <= 0 {
		d.rest, d.short = nil, true
		return 0
	}
	d.rest = d.rest[size:]
	return n
}

func (d *decoder) name() string {
	n := d.number()
	if n > uint64(len(d.rest)) {
		d.rest, d.short = nil, true
		return ""
	}
	name := string(d.rest[:n])
	d.rest = d.rest[n:]
	return name
}

// errOrder says that the order of folding is damaged.
var errOrder = errors.New("the order in which entries of other sites were folded is damaged")

// order calls f with the runs in their order, and makes sure that they are dense, and come to what the places say.
func (s *snapshot) order(f func(run) error) error {
	number, after, folded := uint64(0), uint64(0), map[string]uint64{}
	err := s.scan(spaceOrder, "", "", 0, func(key string, r row) (bool, error) {
		number++
		n, ok := sequenceOfKey(key)
		one, err := decodeRun(r.value)
		if !ok || n != number || err != nil || one.after < after || one.after > s.head.Size || one.count == 0 ||
			one.first != folded[one.site]+1 || findCopy(s.place.copies, one.site) < 0 {
			return false, fmt.Errorf("%w at run %d", errOrder, number)
		}
		after = one.after
		folded[one.site] += one.count
		return true, f(one)
	})
	var damaged *damagedRow
	if errors.As(err, &damaged) {
		return fmt.Errorf("%w: a row fails its checksum", errOrder)
	}
	if err != nil {
		return err
	}
	for _, c := range s.place.copies {
		if folded[c.site] != c.folded {
			return fmt.Errorf("%w: it has %d entries of site %q, not %d", errOrder, folded[c.site], c.site, c.folded)
		}
	}
	if number != s.place.runs {
		return fmt.Errorf("%w: it has %d runs, not %d", errOrder, number, s.place.runs)
	}
	return nil
}

// stretch is a run of entries of one site, the own or another's, that are folded one after another.
type stretch struct {
	site        string
	first, last uint64
}

// stretches calls f with the stretches of the order of folding, from a place in it on.
func (s *snapshot) stretches(from uint64, f func(stretch) error) error {
	at, own := uint64(1), uint64(0)
	if from > s.total() {
		return nil
	}
	give := func(site string, first, count uint64) error {
		skip := uint64(0)
		if from > at {
			skip = min(from-at, count)
		}
		at += count
		if skip == count {
			return nil
		}
		return f(stretch{site, first + skip, first + count - 1})
	}
	if s.place.runs > 0 {
		err := s.order(func(r run) error {
			before := own
			own = r.after
			if err := give(s.head.Site, before+1, r.after-before); err != nil {
				return err
			}
			return give(r.site, r.first, r.count)
		})
		if err != nil {
			return err
		}
	}
	return give(s.head.Site, own+1, s.head.Size-own)
}

// ownAmong says how many of the first n entries in the order of folding are the site's own.
func (s *snapshot) ownAmong(n uint64) (own uint64, err error) {
	if s.place.runs == 0 {
		return n, nil
	}
	at := uint64(0)
	err = s.stretches(1, func(t stretch) error {
		count := min(t.last-t.first+1, n-at)
		at += count
		if t.site == s.head.Site {
			own += count
		}
		return nil
	})
	return own, err
}

// Decoded is an entry with its payload decoded.
type Decoded struct {
	Entry   *ledgerv1.Entry
	Payload proto.Message
}

// ordered calls f with the decoded entries of all sites in the order of folding, from a place in it on.
func (s *snapshot) ordered(ctx context.Context, from uint64, f func(Decoded) (more bool, err error)) error {
	errEnough := errors.New("enough")
	err := s.stretches(from, func(t stretch) error {
		c := s.chainOf(t.site)
		return c.walkEntries(ctx, t.first, t.last, func(sequence uint64, r row) (bool, error) {
			d, err := c.decode(sequence, r.value)
			if err != nil {
				return false, err
			}
			more, err := f(d)
			if err == nil && !more {
				err = errEnough
			}
			return more, err
		})
	})
	if errors.Is(err, errEnough) {
		return nil
	}
	return err
}
