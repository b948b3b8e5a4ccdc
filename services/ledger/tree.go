package ledger

import (
	"fmt"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// The tree's hashes are stored in groups: under an entry's sequence lie the hashes that this entry completes, its leaf
// first and then one for each level that became full, joined together.

// groupSize is how many hashes an entry completes.
func groupSize(sequence uint64) int { return 1 + bits.TrailingZeros64(sequence) }

// joinGroup makes the stored value of a group.
func joinGroup(hashes []tlog.Hash) []byte {
	joined := make([]byte, 0, len(hashes)*tlog.HashSize)
	for i := range hashes {
		joined = append(joined, hashes[i][:]...)
	}
	return joined
}

// splitGroup is the inverse; it refuses a group of the wrong length.
func splitGroup(sequence uint64, joined []byte) ([]tlog.Hash, error) {
	if len(joined) != groupSize(sequence)*tlog.HashSize {
		return nil, fmt.Errorf("entry %d should complete %d tree hashes, but %d bytes are stored", sequence, groupSize(sequence), len(joined))
	}
	hashes := make([]tlog.Hash, groupSize(sequence))
	for i := range hashes {
		copy(hashes[i][:], joined[i*tlog.HashSize:])
	}
	return hashes, nil
}

// place says under which entry's sequence, and where in its group, the hash with a tlog index lies.
func place(index int64) (sequence uint64, at int) {
	level, n := tlog.SplitStoredHashIndex(index)
	return uint64(n+1) << level, level
}

// frontier grows a tree. It keeps the roots of the full subtrees that cover the tree, which is all that growing needs.
type frontier struct {
	size  uint64
	peaks map[int64]tlog.Hash // by tlog index
}

// peakIndexes are the tlog indexes of the full subtrees that cover a tree of that size.
func peakIndexes(size uint64) []int64 {
	var indexes []int64
	for done := uint64(0); done < size; {
		level := bits.Len64(size-done) - 1
		indexes = append(indexes, tlog.StoredHashIndex(level, int64(done>>level)))
		done += 1 << level
	}
	return indexes
}

// readFrontier gets the frontier of a tree from stored hashes.
func readFrontier(size uint64, from tlog.HashReader) (frontier, error) {
	f := frontier{size: size, peaks: map[int64]tlog.Hash{}}
	indexes := peakIndexes(size)
	hashes, err := from.ReadHashes(indexes)
	if err != nil {
		return frontier{}, err
	}
	for i, index := range indexes {
		f.peaks[index] = hashes[i]
	}
	return f, nil
}

// ReadHashes makes the frontier a tlog.HashReader of its own peaks.
func (f frontier) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		h, ok := f.peaks[index]
		if !ok {
			return nil, fmt.Errorf("tree hash %d is not on the frontier of a tree of %d", index, f.size)
		}
		hashes[i] = h
	}
	return hashes, nil
}

// clone makes a frontier that can grow without changing this one.
func (f frontier) clone() frontier {
	peaks := make(map[int64]tlog.Hash, len(f.peaks)+8)
	for index, h := range f.peaks {
		peaks[index] = h
	}
	return frontier{size: f.size, peaks: peaks}
}

// grow adds a leaf and gives the hashes it completes.
func (f *frontier) grow(leaf tlog.Hash) ([]tlog.Hash, error) {
	hashes, err := tlog.StoredHashesForRecordHash(int64(f.size), leaf, *f)
	if err != nil {
		return nil, err
	}
	for level := range len(hashes) - 1 { // the left siblings that were merged are no longer peaks
		delete(f.peaks, tlog.StoredHashIndex(level, int64(f.size>>level)-1))
	}
	top := len(hashes) - 1
	f.peaks[tlog.StoredHashIndex(top, int64(f.size>>top))] = hashes[top]
	f.size++
	return hashes, nil
}

// root is the tree's root hash.
func (f frontier) root() (tlog.Hash, error) { return tlog.TreeHash(int64(f.size), f) }

// ReadHashes makes the snapshot a tlog.HashReader of the stored tree over the own entries.
func (s *snapshot) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	return s.chainOf("").ReadHashes(indexes)
}
