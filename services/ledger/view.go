package ledger

import (
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// View is a pure fold of entries to rows. Fold sees every entry of the ledger once, in order, and must ignore the kinds
// it does not know of. It must depend on nothing but the entry and the view's own rows, for the ledger folds again from
// the first entry when the version changes or a row is damaged, and a check compares the two results. It must not
// change the entry or the payload. An error or a panic refuses the command that made the entry.
type View interface {
	// Name is short, fixed and unique among a ledger's views.
	Name() string
	// Version is to be raised whenever Fold, or the shape of a row, changes.
	Version() uint32
	// Fold puts what the entry changes into rows. The payload is the entry's, decoded.
	Fold(w Writer, e *ledgerv1.Entry, payload proto.Message) error
}

// Reader reads the rows of views as they stand at one position. It is valid only inside the call it was passed to and
// is not for use by several goroutines.
type Reader interface {
	// Get reads one row into a message and says whether there is one.
	Get(view, key string, into proto.Message) (bool, error)
	// Scan calls f, in key order, with the rows whose key begins with prefix and is greater than after, at most limit
	// of them (all when limit is 0 or less). An error from f ends the scan and is returned. The value, the row's encoded message,
	// is verified, and valid until f returns.
	Scan(view, prefix, after string, limit int, f func(key string, value []byte) error) error
	// Position is the last entry the rows include.
	Position() *ledgerv1.Position
}

// Writer is what a Fold has: the rows of its own view only.
type Writer interface {
	Reader
	// Put writes a row, in place of one with the same key. Keys are 1 to 1024 bytes.
	Put(view, key string, m proto.Message) error
	// Delete takes a row away; it is no error if there is none.
	Delete(view, key string) error
}
