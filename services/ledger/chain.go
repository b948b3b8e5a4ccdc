package ledger

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// chain is one site's entries and tree in a snapshot: the site's own, or the copy of another's.
type chain struct {
	*snapshot
	site          string
	copied        bool
	entry, hashes string // spaces
	size          uint64
}

// copyOf gives the copy of another site's ledger, as far as it was received.
func (s *snapshot) copyOf(state copyState) chain {
	return chain{snapshot: s, site: state.site, copied: true, entry: copySpace(state.site), hashes: graftSpace(state.site), size: state.received}
}

// chainOf gives the entries of a site, the own or another's.
func (s *snapshot) chainOf(site string) chain {
	if i := findCopy(s.place.copies, site); i >= 0 {
		return s.copyOf(s.place.copies[i])
	}
	return chain{snapshot: s, site: s.head.Site, entry: spaceEntry, hashes: spaceHash, size: s.head.Size}
}

// damaged names a bad entry of the chain.
func (c chain) damaged(sequence uint64, how string) *fault.Fault {
	if !c.copied {
		return entryDamaged(sequence, how)
	}
	n := strconv.FormatUint(sequence, 10)
	return fault.New(codes.DataLoss, "COPY_DAMAGED",
		fmt.Sprintf("Entry %s of the copy of site %q is damaged: %s. It is refused, and asked for again from its owner.", n, c.site, how), "site", c.site, "sequence", n)
}

// fewEntries is up to how many entries are read one by one: an iterator costs more to set up.
const fewEntries = 8

// walkEntries calls f with the verified entries from one sequence to another, until f says stop. A missing or damaged one
// is an error that names it.
func (c chain) walkEntries(ctx context.Context, from, to uint64, f func(sequence uint64, r row) (more bool, err error)) error {
	next, to := max(from, 1), min(to, c.size)
	if to-next < fewEntries {
		return c.pickEntries(next, to, f)
	}
	if next > to {
		return nil
	}
	stopped := false
	err := c.scan(c.entry, "", sequenceKey(next-1), 0, func(key string, r row) (bool, error) {
		if sequence, ok := sequenceOfKey(key); !ok || sequence != next {
			return false, c.damaged(next, "it is missing")
		}
		if next%256 == 0 && ctx.Err() != nil {
			return false, outOfTime(ctx, "The time was over while reading the ledger's entries.")
		}
		more, err := f(next, r)
		next++
		stopped = !more || err != nil
		return !stopped && next <= to, err
	})
	var damaged *damagedRow
	if errors.As(err, &damaged) { // named by its place: the key may be what was damaged
		return c.damaged(next, "its stored bytes fail their checksum")
	}
	if err == nil && !stopped && next <= to {
		return c.damaged(next, "it is missing")
	}
	return err
}

// pickEntries is walkEntries for a few.
func (c chain) pickEntries(from, to uint64, f func(sequence uint64, r row) (more bool, err error)) error {
	for sequence := from; sequence <= to; sequence++ {
		r, ok, err := c.get(c.entry, sequenceKey(sequence))
		var damaged *damagedRow
		switch {
		case errors.As(err, &damaged):
			return c.damaged(sequence, "its stored bytes fail their checksum")
		case err != nil:
			return err
		case !ok:
			return c.damaged(sequence, "it is missing")
		}
		if more, err := f(sequence, r); !more || err != nil {
			return err
		}
	}
	return nil
}

// decode decodes a verified value and makes sure that it is the entry it lies under, and of the chain's site.
func (c chain) decode(sequence uint64, value []byte) (Decoded, error) {
	e, err := decodeEntry(sequence, value)
	if err != nil || e.GetSite() != c.site {
		return Decoded{}, c.damaged(sequence, "its bytes do not decode, or are another entry's")
	}
	payload, err := e.GetPayload().UnmarshalNew()
	if err != nil {
		return Decoded{}, unknownKind(e, err)
	}
	return Decoded{e, payload}, nil
}

// ReadHashes makes the chain a tlog.HashReader of its stored tree.
func (c chain) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		sequence, at := place(index)
		r, ok, err := c.get(c.hashes, sequenceKey(sequence))
		if err != nil {
			return nil, err
		}
		if !ok {
			return nil, fmt.Errorf("the tree hashes of entry %d are missing", sequence)
		}
		group, err := splitGroup(sequence, r.value)
		if err != nil {
			return nil, err
		}
		hashes[i] = group[at]
	}
	return hashes, nil
}

// leaf reads the leaf hash of an entry from the stored tree.
func (c chain) leaf(sequence uint64) (tlog.Hash, error) {
	hashes, err := c.ReadHashes([]int64{tlog.StoredHashIndex(0, int64(sequence)-1)})
	if err != nil {
		return tlog.Hash{}, treeDamaged(err)
	}
	return hashes[0], nil
}

// rootAt is the root hash of the tree of the first size entries.
func (c chain) rootAt(size uint64) (tlog.Hash, error) {
	root, err := tlog.TreeHash(int64(size), c)
	if err != nil {
		return tlog.Hash{}, treeDamaged(err)
	}
	return root, nil
}

// verified gives up to limit entries from one sequence to another, each tested against the stored tree; fewer when they
// are large.
func (c chain) verified(ctx context.Context, from, to uint64, limit int) ([]Stored, error) {
	if limit <= 0 {
		return nil, nil
	}
	var run []Stored
	size := 0
	err := c.walkEntries(ctx, from, to, func(sequence uint64, r row) (bool, error) {
		one := Stored{Sequence: sequence, Bytes: append([]byte(nil), r.value...), Leaf: tlog.RecordHash(r.value)}
		leaf, err := c.leaf(sequence)
		if err != nil {
			return false, err
		}
		if leaf != one.Leaf {
			return false, c.damaged(sequence, "its bytes are not those that the tree covers")
		}
		run = append(run, one)
		size += len(one.Bytes)
		return len(run) < limit && size < runBytes, nil
	})
	return run, err
}
