// Package ledger keeps one site's append-only log of events, and the views folded from it, in one Badger store.
//
// A command's Decide looks at the views and returns events. The ledger's one writer runs the commands that wait, one
// after another, against one snapshot; it wraps their events in entries, folds the entries into the views, extends the
// site's Merkle tree and commits all of it in one transaction with one fsync, then answers everyone. So an answer
// without an error means that the entries are on disk, that every view shows them, and that the tree covers them.
//
// The truth is the stored bytes of the entries. Their RFC 6962 leaf hashes (golang.org/x/mod/sumdb/tlog) make the tree;
// everything else, views included, can be computed again from them. Nothing read from the store is believed unchecked:
// every stored value carries a checksum over its key and itself, entries are dense and hashed, and the ledger knows how
// many rows each view has. A view that fails is rebuilt without being asked; an entry that fails is named and refused.
//
// Personal data stay out of the entries: Seal encrypts them under a key of the person's own, kept in a file beside the
// store, and gives a commitment for the event to carry.
//
// README.md describes the keys, the invariants, and what is and is not promised.
package ledger
