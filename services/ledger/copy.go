package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// The copy of another site's ledger is a log of its own beside this site's: its own entries, its own tree, grown from the
// bytes received. What was received is believed when a checkpoint that the site signed covers it, and is folded into the
// views only then. So a copy moves in three steps (Receive, Accept, FoldCopy), each on disk before the next.

// copySpace and graftSpace are where a copy's entries and tree hashes lie.
func copySpace(site string) string  { return spaceCopy + site + "\x00" }
func graftSpace(site string) string { return spaceGraft + site + "\x00" }

// graft is what the writer keeps in memory of a copy: the frontier of what was received, or why it cannot be grown.
type graft struct {
	tree frontier
	ill  error
}

// SiteCopy says how far the copy of another site's ledger is.
type SiteCopy struct {
	Site        string
	VerifierKey string // by which its owner's checkpoints are verified
	Received    uint64 // entries kept
	Verified    uint64 // of them covered by a checkpoint its owner signed
	Folded      uint64 // of them shown by the views
}

// Copies says which other sites' ledgers are kept here.
func (l *Ledger) Copies() ([]SiteCopy, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	var all []SiteCopy
	for _, c := range snap.place.copies {
		key, _, err := snap.pinned(c.site)
		if err != nil {
			return nil, outward(err)
		}
		all = append(all, SiteCopy{c.site, key, c.received, c.verified, c.folded})
	}
	return all, nil
}

// CopyOf says how far the copy of a site's ledger is; zero when there is none.
func (l *Ledger) CopyOf(site string) (SiteCopy, error) {
	all, err := l.Copies()
	if i := slices.IndexFunc(all, func(c SiteCopy) bool { return c.Site == site }); err == nil && i >= 0 {
		return all[i], nil
	}
	return SiteCopy{Site: site}, err
}

// OpenCopy begins to keep a copy of another site's ledger, whose checkpoints are verified by a key, or goes on with it. A
// key other than the one remembered is refused.
func (l *Ledger) OpenCopy(ctx context.Context, site, verifierKey string) error {
	if err := checkName("site", site, 1); err != nil {
		return err
	}
	if site == l.site {
		return fault.New(codes.InvalidArgument, "OWN_SITE", fmt.Sprintf("Site %q cannot follow itself.", site))
	}
	return l.wholly(ctx, func() error {
		changes := newLayer(nil)
		if err := l.pin(changes, site, verifierKey); err != nil {
			return err
		}
		next := l.place
		if findCopy(next.copies, site) < 0 {
			next = next.with(copyState{site: site})
			changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
		}
		if changes.count == 0 {
			return nil
		}
		if err := l.store(changes); err != nil {
			return err
		}
		l.place = next
		if l.grafts[site] == nil {
			l.grafts[site] = &graft{tree: frontier{peaks: map[int64]tlog.Hash{}}}
		}
		l.publish(l.current.head, l.current.views)
		return nil
	})
}

// state gives a copy's state and graft. For the writer only.
func (l *Ledger) state(site string) (copyState, *graft, error) {
	i := findCopy(l.place.copies, site)
	if i < 0 {
		return copyState{}, nil, fault.New(codes.NotFound, "NO_SUCH_COPY", fmt.Sprintf("No copy of the ledger of site %q is kept here.", site), "site", site)
	}
	g := l.grafts[site]
	if g == nil || g.ill != nil {
		cause := errors.New("it was not loaded")
		if g != nil {
			cause = g.ill
		}
		return copyState{}, nil, fault.Wrap(cause, codes.DataLoss, "COPY_UNUSABLE", fmt.Sprintf("The copy of the ledger of site %q is damaged and cannot be continued. Run the ledger check.", site), "site", site)
	}
	return l.place.copies[i], g, nil
}

// Receive keeps entries of another site behind those received before. They must follow without a gap. Their bytes are
// kept as they came; whether they are the site's, Accept finds out.
func (l *Ledger) Receive(ctx context.Context, site string, entries []Stored) error {
	for i, one := range entries {
		if i > 0 && one.Sequence != entries[i-1].Sequence+1 {
			return gap(site, entries[i-1].Sequence, one.Sequence)
		}
		e, err := decodeEntry(one.Sequence, one.Bytes)
		if err != nil || e.GetSite() != site || e.GetProgramme() != l.programme || tlog.RecordHash(one.Bytes) != one.Leaf {
			return fault.New(codes.DataLoss, "NOT_AN_ENTRY", fmt.Sprintf("What was received as entry %d of site %q is not that entry. It is refused, and asked for again from its owner.", one.Sequence, site), "site", site, "sequence", fmt.Sprint(one.Sequence))
		}
	}
	if len(entries) == 0 {
		return nil
	}
	return l.wholly(ctx, func() error { return l.receive(site, entries) })
}

func gap(site string, last, next uint64) error {
	return fault.New(codes.FailedPrecondition, "GAP", fmt.Sprintf("After entry %d of site %q entry %d was received. What is missing between them must come first.", last, site, next), "site", site, "after", fmt.Sprint(last), "next", fmt.Sprint(next))
}

func (l *Ledger) receive(site string, entries []Stored) error {
	state, g, err := l.state(site)
	if err != nil {
		return err
	}
	if entries[0].Sequence != state.received+1 {
		return gap(site, state.received, entries[0].Sequence)
	}
	tree, changes := g.tree.clone(), newLayer(nil)
	flush := func() error {
		state.received = tree.size
		next := l.place.with(state)
		changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
		if err := l.store(changes); err != nil {
			return err
		}
		l.place, g.tree = next, tree.clone()
		l.publish(l.current.head, l.current.views)
		changes = newLayer(nil)
		return nil
	}
	for _, one := range entries {
		hashes, err := tree.grow(one.Leaf)
		if err != nil {
			return err
		}
		changes.put(copySpace(site), sequenceKey(one.Sequence), storedRow(one.Bytes))
		changes.put(graftSpace(site), sequenceKey(one.Sequence), storedRow(joinGroup(hashes)))
		if changes.bytes > l.db.MaxBatchSize()/2 || changes.count > l.db.MaxBatchCount()/2 {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// Accept believes what was received, as far as a signed checkpoint covers it. It verifies the owner's signature, that the
// root hash it speaks of is that of the entries received, and that those are a continuation of the tree of the checkpoint
// accepted last. A checkpoint that covers more than was received is refused with BEYOND_COPY; one that fits nothing that
// was received, with COPY_DIFFERS, if the fault may lie in what was received, and FORK, if the owner signed two histories.
func (l *Ledger) Accept(ctx context.Context, site string, signed []byte) (checkpoint.Checkpoint, error) {
	var cp checkpoint.Checkpoint
	err := l.wholly(ctx, func() (err error) {
		cp, err = l.accept(site, signed)
		return err
	})
	return cp, err
}

func (l *Ledger) accept(site string, signed []byte) (checkpoint.Checkpoint, error) {
	state, _, err := l.state(site)
	if err != nil {
		return checkpoint.Checkpoint{}, err
	}
	owner, err := l.current.verifier(site)
	if err != nil {
		return checkpoint.Checkpoint{}, err
	}
	cp, err := checkpoint.Open(signed, owner)
	if err != nil {
		return cp, fault.Wrap(err, codes.PermissionDenied, "NOT_SIGNED", fmt.Sprintf("A checkpoint that was said to be of site %q is not signed by the key known for it. It is refused.", site), "site", site)
	}
	tree := l.current.copyOf(state)
	if cp.Size > state.received {
		return cp, fault.New(codes.OutOfRange, "BEYOND_COPY", fmt.Sprintf("The checkpoint covers %d entries of site %q, of which %d were received.", cp.Size, site, state.received), "site", site)
	}
	root, err := tree.rootAt(cp.Size)
	if err != nil {
		return cp, err
	}
	if root != cp.Root && cp.Size <= state.verified {
		return cp, fork(site, cp, root)
	}
	if root != cp.Root {
		return cp, fault.New(codes.DataLoss, "COPY_DIFFERS", fmt.Sprintf("The %d entries received of site %q do not give the root hash its checkpoint speaks of. What was received beyond entry %d is refused.", cp.Size, site, state.verified), "site", site)
	}
	if err := l.consistent(site, cp, tree); err != nil || cp.Size <= state.verified {
		return cp, err
	}
	state.verified = cp.Size
	next, changes := l.place.with(state), newLayer(nil)
	changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
	changes.put(spaceCheckpoint, newestKey(site), storedRow(signed))
	if err := l.store(changes); err != nil {
		return cp, err
	}
	l.place = next
	l.publish(l.current.head, l.current.views)
	return cp, nil
}

// consistent proves, by tlog's own check, that the tree of a checkpoint continues the tree of the one accepted last.
func (l *Ledger) consistent(site string, cp checkpoint.Checkpoint, tree chain) error {
	last, _, ok, err := l.current.checkpoint(newestKey(site))
	if err != nil || !ok || last.Size == 0 || cp.Size == 0 {
		return err
	}
	older, newer := last, cp
	if older.Size > newer.Size {
		older, newer = newer, older
	}
	if newer.Size > tree.size { // the copy was taken back, and is not that far again
		return nil
	}
	proof, err := tlog.ProveTree(int64(newer.Size), int64(older.Size), tree)
	if err != nil {
		return treeDamaged(err)
	}
	if tlog.CheckTree(proof, int64(newer.Size), newer.Root, int64(older.Size), older.Root) != nil {
		return fork(site, cp, last.Root)
	}
	return nil
}

func fork(site string, cp checkpoint.Checkpoint, root tlog.Hash) error {
	return fault.New(codes.DataLoss, "FORK",
		fmt.Sprintf("Site %q signed two histories: its checkpoint of %d entries is not one of the ledger it signed before. Nothing more is taken from it. Keep both checkpoints; ask whoever runs the site whether its ledger was replaced by an older copy.", site, cp.Size),
		"site", site, "size", fmt.Sprint(cp.Size), "signed", cp.Root.String(), "known", root.String())
}

// Discard drops what was received of a site beyond what is verified, to be received again.
func (l *Ledger) Discard(ctx context.Context, site string) error {
	return l.wholly(ctx, func() error {
		state, g, err := l.state(site)
		if err != nil {
			return err
		}
		tree, err := readFrontier(state.verified, l.current.copyOf(state))
		if err != nil {
			return treeDamaged(err)
		}
		state.received = state.verified
		next, changes := l.place.with(state), newLayer(nil)
		changes.put(spaceMeta, keyCopies, storedRow(encodePlaces(next)))
		if err := l.store(changes); err != nil {
			return err
		}
		l.place, g.tree = next, tree
		l.publish(l.current.head, l.current.views)
		return nil
	})
}

// verifier gives the remembered key of a site.
func (s *snapshot) verifier(site string) (note.Verifier, error) {
	text, ok, err := s.pinned(site)
	if err != nil {
		return nil, outward(err)
	}
	if !ok {
		return nil, fault.New(codes.NotFound, "NO_KEY_OF_SITE", fmt.Sprintf("No key of site %q is known here.", site), "site", site)
	}
	v, err := note.NewVerifier(text)
	if err != nil {
		return nil, fault.Wrap(err, codes.DataLoss, "KEY_DAMAGED", fmt.Sprintf("The key remembered of site %q cannot be read.", site), "site", site)
	}
	return v, nil
}

// CopiedEntries gives up to limit entries of a copy from a sequence on, each verified against the copy's tree: what its
// owner needs when the own are damaged, or a site that follows when the owner is away.
func (l *Ledger) CopiedEntries(ctx context.Context, site string, from uint64, limit int) ([]Stored, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	i := findCopy(snap.place.copies, site)
	if i < 0 {
		return nil, fault.New(codes.NotFound, "NO_SUCH_COPY", fmt.Sprintf("No copy of the ledger of site %q is kept here.", site), "site", site)
	}
	run, err := snap.copyOf(snap.place.copies[i]).verified(ctx, from, snap.place.copies[i].verified, limit)
	return run, outward(err)
}
