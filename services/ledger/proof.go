package ledger

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// Inclusion proves that a tree holds an entry: tlog.CheckRecord(Hashes, Size, Root, Sequence-1, Leaf).
type Inclusion struct {
	Sequence, Size uint64
	Leaf, Root     tlog.Hash
	Hashes         []tlog.Hash
}

// Growth proves that one tree is the beginning of another: tlog.CheckTree(Hashes, Size, Root, OldSize, OldRoot).
type Growth struct {
	OldSize, Size uint64
	OldRoot, Root tlog.Hash
	Hashes        []tlog.Hash
}

// ProveInclusion makes the RFC 6962 audit path of an entry in the tree of the first size entries (0: all).
func (l *Ledger) ProveInclusion(sequence, size uint64) (Inclusion, error) {
	snap, err := l.acquire()
	if err != nil {
		return Inclusion{}, err
	}
	defer snap.release()
	if size, err = snap.within(size); err != nil {
		return Inclusion{}, err
	}
	if sequence < 1 || sequence > size {
		return Inclusion{}, fault.New(codes.OutOfRange, "NOT_IN_TREE", fmt.Sprintf("A tree of %d entries has no entry %d.", size, sequence))
	}
	p := Inclusion{Sequence: sequence, Size: size}
	if p.Leaf, err = snap.leaf(sequence); err != nil {
		return Inclusion{}, err
	}
	if p.Root, err = tlog.TreeHash(int64(size), snap); err != nil {
		return Inclusion{}, treeDamaged(err)
	}
	if p.Hashes, err = tlog.ProveRecord(int64(size), int64(sequence)-1, snap); err != nil {
		return Inclusion{}, treeDamaged(err)
	}
	return p, nil
}

// ProveGrowth makes the RFC 6962 consistency proof between the trees of the first oldSize and the first size entries
// (0: all).
func (l *Ledger) ProveGrowth(oldSize, size uint64) (Growth, error) {
	snap, err := l.acquire()
	if err != nil {
		return Growth{}, err
	}
	defer snap.release()
	if size, err = snap.within(size); err != nil {
		return Growth{}, err
	}
	if oldSize < 1 || oldSize > size {
		return Growth{}, fault.New(codes.OutOfRange, "NOT_IN_TREE", fmt.Sprintf("A tree of %d entries did not begin as one of %d.", size, oldSize))
	}
	p := Growth{OldSize: oldSize, Size: size}
	if p.OldRoot, err = tlog.TreeHash(int64(oldSize), snap); err != nil {
		return Growth{}, treeDamaged(err)
	}
	if p.Root, err = tlog.TreeHash(int64(size), snap); err != nil {
		return Growth{}, treeDamaged(err)
	}
	if p.Hashes, err = tlog.ProveTree(int64(size), int64(oldSize), snap); err != nil {
		return Growth{}, treeDamaged(err)
	}
	return p, nil
}

// within gives the size of the tree meant, which must be one the ledger has reached.
func (s *snapshot) within(size uint64) (uint64, error) {
	if size > s.head.Size {
		return 0, fault.New(codes.OutOfRange, "BEYOND_THE_END", fmt.Sprintf("The ledger holds %d entries, fewer than %d.", s.head.Size, size))
	}
	if size == 0 {
		return s.head.Size, nil
	}
	return size, nil
}
