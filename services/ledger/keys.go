package ledger

import (
	"encoding/binary"
)

// A space is the first part of a Badger key; what follows is the key within it. README.md lists what each holds.
const (
	spaceMeta       = "m"
	spaceEntry      = "e"
	spaceHash       = "h"
	spaceSealed     = "s"
	spaceCursor     = "c"
	spaceView       = "v" // followed by the view's name, a zero byte and four bytes of generation
	spaceOrder      = "o"
	spaceCopy       = "f" // followed by the other site's id and a zero byte
	spaceGraft      = "g" // the tree hashes of a copy, likewise
	spacePin        = "p"
	spaceCheckpoint = "k"
)

const (
	keyIdentity = "identity"
	keyHead     = "head"
	keyViews    = "views"
	keyCopies   = "copies"
)

// viewSpace is where the rows of one generation of a view lie. A rebuilt view gets a new generation, so that nothing
// left behind by the old one can be read by mistake.
func viewSpace(name string, generation uint32) string {
	return string(binary.BigEndian.AppendUint32([]byte(viewPrefix(name)), generation))
}

// viewPrefix is what the spaces of all generations of a view begin with.
func viewPrefix(name string) string { return spaceView + name + "\x00" }

// sequenceKey makes the key of an entry or of the tree hashes it completes; keys sort as sequences do.
func sequenceKey(sequence uint64) string {
	return string(binary.BigEndian.AppendUint64(nil, sequence))
}

// sequenceOfKey is the inverse of sequenceKey.
func sequenceOfKey(key string) (uint64, bool) {
	if len(key) != 8 {
		return 0, false
	}
	return binary.BigEndian.Uint64([]byte(key)), true
}
