package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// checkpointFile holds the newest checkpoint a second time, beside the store: the store cannot tell that its end is gone.
const checkpointFile = "checkpoint"

// newestKey and sizedKey are where a site's checkpoints lie: the newest one, and those that others cosigned, by size.
func newestKey(site string) string { return site + "\x00newest" }
func sizedKey(site string, size uint64) string {
	return site + "\x00" + sequenceKey(size)
}

// pinned gives the verifier key remembered of a site.
func (s *snapshot) pinned(site string) (string, bool, error) {
	r, ok, err := s.get(spacePin, site)
	return string(r.value), ok, err
}

// pin remembers the verifier key of a site, once and for all. For the writer only.
func (l *Ledger) pin(changes *layer, site, verifierKey string) error {
	v, err := note.NewVerifier(verifierKey)
	if err != nil || v.Name() != checkpoint.Origin(l.programme, site) {
		return fault.New(codes.InvalidArgument, "BAD_KEY", fmt.Sprintf("%q is no verifier key of site %q of programme %q. Get it there with \"zonule site key\".", verifierKey, site, l.programme), "site", site)
	}
	known, ok, err := l.current.pinned(site)
	switch {
	case err != nil:
		return outward(err)
	case ok && known != verifierKey:
		return fault.New(codes.PermissionDenied, "OTHER_KEY", fmt.Sprintf("Site %q has shown the key %s, but is known here by the key %s. Nothing is taken from it. Ask whoever runs it which is right.", site, verifierKey, known), "site", site)
	case !ok:
		changes.put(spacePin, site, storedRow([]byte(verifierKey)))
	}
	return nil
}

// checkpoint reads a kept checkpoint of a site and verifies its owner's signature.
func (s *snapshot) checkpoint(key string) (cp checkpoint.Checkpoint, signed []byte, ok bool, err error) {
	r, ok, err := s.get(spaceCheckpoint, key)
	if err != nil || !ok {
		return cp, nil, false, outward(err)
	}
	site, _, _ := strings.Cut(key, "\x00")
	owner, err := s.verifier(site)
	if err == nil {
		cp, err = checkpoint.Open(r.value, owner)
	}
	if err != nil {
		return cp, nil, false, fault.Wrap(err, codes.DataLoss, "CHECKPOINT_DAMAGED", fmt.Sprintf("The checkpoint kept of site %q is not signed by its key.", site), "site", site)
	}
	return cp, r.value, true, nil
}

// matchesCheckpoint compares a chain's tree with the newest checkpoint kept of its site, as far as the chain reaches.
func (s *snapshot) matchesCheckpoint(c chain) error {
	cp, _, ok, err := s.checkpoint(newestKey(c.site))
	if err != nil || !ok || cp.Size > c.size {
		return err
	}
	root, err := c.rootAt(cp.Size)
	if err == nil && root != cp.Root {
		err = fmt.Errorf("its tree at entry %d has the root hash %v, but %v was signed", cp.Size, root, cp.Root)
	}
	return err
}

// loadKey reads the site's signing key, or makes it in a ledger that never had one.
func (l *Ledger) loadKey(base *snapshot) error {
	name, path := checkpoint.Origin(l.programme, l.site), filepath.Join(l.dir, checkpoint.KeyFile)
	known, ok, err := base.pinned(l.site)
	if err != nil {
		return err
	}
	l.key, err = checkpoint.ReadKey(path)
	switch {
	case errors.Is(err, os.ErrNotExist) && ok:
		return fault.New(codes.FailedPrecondition, "SITE_KEY_MISSING", fmt.Sprintf("The file %s, which holds the key this site signs with, is gone. Put back a copy of it; the site is known to others by the key %s.", path, known))
	case errors.Is(err, os.ErrNotExist):
		if l.key, err = checkpoint.NewKey(path, name); err != nil {
			return err
		}
	case err != nil:
		return fault.Wrap(err, codes.FailedPrecondition, "SITE_KEY_DAMAGED", fmt.Sprintf("The file %s, which holds the key this site signs with, cannot be read. Put back a copy of it.", path))
	}
	if ok && known != l.key.VerifierKey || l.key.Name() != name {
		return fault.New(codes.FailedPrecondition, "OTHER_SITE_KEY", fmt.Sprintf("The key in %s is not the one this site signed with before (%s). Put back the file that belongs to this ledger.", path, known))
	}
	return nil
}

// pinOwn remembers the site's own key in a ledger from before sites had keys.
func (l *Ledger) pinOwn(base *snapshot) error {
	_, ok, err := base.pinned(l.site)
	if err != nil || ok {
		return err
	}
	changes := newLayer(nil)
	changes.put(spacePin, l.site, storedRow([]byte(l.key.VerifierKey)))
	return l.store(changes)
}

// compareCheckpoints refuses a ledger that is not the one the site signed, as the newest checkpoint kept in the store, and
// the one kept beside it, tell.
func (l *Ledger) compareCheckpoints(base *snapshot) error {
	kept, _, ok, err := base.checkpoint(newestKey(l.site))
	if err != nil {
		l.log.Warn("the newest checkpoint kept cannot be read", "site", l.site, "error", err)
	}
	if ok {
		if err := l.compareHead(base, kept); err != nil {
			return err
		}
	}
	signed, err := os.ReadFile(filepath.Join(l.dir, checkpointFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the file of the newest checkpoint cannot be read: %w", err)
	}
	kept, err = checkpoint.Open(signed, l.key.Verifier)
	if err != nil {
		l.log.Warn("the file of the newest checkpoint is damaged; the next checkpoint replaces it", "site", l.site, "error", err)
		return nil
	}
	return l.compareHead(base, kept)
}

// compareHead compares the ledger with a checkpoint of it. A ledger that has lost its end, or has another history than
// was signed, is refused.
func (l *Ledger) compareHead(base *snapshot, cp checkpoint.Checkpoint) error {
	if cp.Size > base.head.Size {
		return fault.New(codes.DataLoss, "END_MISSING",
			fmt.Sprintf("The ledger ends at entry %d, but this site signed a checkpoint of %d entries. The end of the ledger is lost; restore it from a copy before going on.", base.head.Size, cp.Size),
			"size", strconv.FormatUint(base.head.Size, 10), "carried", strconv.FormatUint(cp.Size, 10))
	}
	root, err := base.chainOf("").rootAt(cp.Size)
	if err == nil && root != cp.Root {
		err = fault.New(codes.DataLoss, "HISTORY_DIFFERS",
			fmt.Sprintf("The first %d entries of the ledger are not those this site signed a checkpoint of: the ledger is another one, or was rewritten. Restore it from a copy.", cp.Size), "size", strconv.FormatUint(cp.Size, 10))
	}
	return err
}

// VerifierKey is the public half of the key this site signs its checkpoints with.
func (l *Ledger) VerifierKey() string { return l.key.VerifierKey }

// Checkpoint signs the present head, unless the newest checkpoint is of it, and gives the newest checkpoint. It is on
// disk, in the store and beside it, when this returns. An empty ledger has none: nil.
func (l *Ledger) Checkpoint(ctx context.Context) ([]byte, error) {
	l.signing.Lock()
	defer l.signing.Unlock()
	var signed []byte
	fresh := false
	err := l.wholly(ctx, func() (err error) {
		head := l.current.head
		cp, kept, ok, err := l.current.checkpoint(newestKey(l.site))
		if err != nil && fault.Reason(err) != "ROW_DAMAGED" && fault.Reason(err) != "CHECKPOINT_DAMAGED" {
			return err
		}
		if head.Size == 0 || ok && cp.Size == head.Size {
			signed = kept
			return nil
		}
		text := checkpoint.Format(checkpoint.Checkpoint{Origin: l.key.Name(), Size: head.Size, Root: head.Root})
		if signed, err = note.Sign(&note.Note{Text: text}, l.key); err != nil {
			return err
		}
		changes := newLayer(nil)
		changes.put(spaceCheckpoint, newestKey(l.site), storedRow(signed))
		if err := l.store(changes); err != nil {
			return err
		}
		fresh = true
		l.publish(head, l.current.views)
		return nil
	})
	if err != nil || !fresh {
		return signed, err
	}
	if err := replaceFile(filepath.Join(l.dir, checkpointFile), signed); err != nil {
		return nil, fault.Wrap(err, codes.Unavailable, "CHECKPOINT_NOT_STORED", "The file of the newest checkpoint could not be written. Look at the disk of the site.")
	}
	return signed, nil
}

// LastCheckpoint gives the newest checkpoint kept of a site, this one or one whose copy is kept here; nil when there is
// none.
func (l *Ledger) LastCheckpoint(site string) ([]byte, error) {
	return l.keptCheckpoint(newestKey(site))
}

// CheckpointAt gives the kept checkpoint of so many entries of a site; nil when there is none. Kept are the newest one and
// those that were cosigned.
func (l *Ledger) CheckpointAt(site string, size uint64) ([]byte, error) {
	return l.keptCheckpoint(sizedKey(site, size))
}

func (l *Ledger) keptCheckpoint(key string) ([]byte, error) {
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	_, signed, _, err := snap.checkpoint(key)
	return signed, err
}

// Cosign adds this site's signature to a checkpoint of another site that Accept has accepted, and keeps it.
func (l *Ledger) Cosign(ctx context.Context, site string) (cosigned []byte, err error) {
	err = l.wholly(ctx, func() error {
		cp, signed, ok, err := l.current.checkpoint(newestKey(site))
		if err != nil {
			return err
		}
		i := findCopy(l.place.copies, site)
		if !ok || i < 0 || l.place.copies[i].verified < cp.Size {
			return fault.New(codes.FailedPrecondition, "NOTHING_TO_COSIGN", fmt.Sprintf("No checkpoint of site %q was verified here yet.", site), "site", site)
		}
		owner, err := l.current.verifier(site)
		if err != nil {
			return err
		}
		if cosigned, err = checkpoint.Cosign(signed, owner, l.key); err != nil {
			return err
		}
		return l.keepCosigned(site, cp, cosigned)
	})
	return cosigned, err
}

// AddCosignature keeps another site's signature on a checkpoint of this site. The key is remembered when the site was not
// known before.
func (l *Ledger) AddCosignature(ctx context.Context, site, verifierKey string, cosigned []byte) error {
	if site == l.site {
		return fault.New(codes.InvalidArgument, "OWN_SITE", "A site cannot cosign its own checkpoint.")
	}
	return l.wholly(ctx, func() error {
		changes := newLayer(nil)
		if err := l.pin(changes, site, verifierKey); err != nil {
			return err
		}
		cosigner, err := note.NewVerifier(verifierKey)
		if err != nil {
			return err
		}
		refused := func(cause error) error {
			return fault.Wrap(cause, codes.InvalidArgument, "BAD_COSIGNATURE", fmt.Sprintf("What site %q sent is not a checkpoint of this site with a signature of its own.", site), "site", site)
		}
		cp, err := checkpoint.Open(cosigned, l.key.Verifier)
		if err != nil {
			return refused(err)
		}
		if who, err := checkpoint.Signers(cosigned, cosigner); err != nil || len(who) == 0 {
			return refused(err)
		}
		if cp.Size > l.current.head.Size {
			return refused(errors.New("it is beyond the end"))
		}
		if root, err := l.current.chainOf("").rootAt(cp.Size); err != nil || root != cp.Root {
			return refused(errors.Join(errors.New("it is not of this ledger"), err))
		}
		if changes.count > 0 {
			if err := l.store(changes); err != nil {
				return err
			}
			l.publish(l.current.head, l.current.views)
		}
		return l.keepCosigned(l.site, cp, cosigned)
	})
}

// keepCosigned keeps a checkpoint with more signatures than before, under its size and, if it is that, as the newest.
func (l *Ledger) keepCosigned(site string, cp checkpoint.Checkpoint, cosigned []byte) error {
	changes := newLayer(nil)
	for _, key := range []string{sizedKey(site, cp.Size), newestKey(site)} {
		was, kept, ok, err := l.current.checkpoint(key)
		if err != nil {
			return err
		}
		merged := cosigned
		if ok && was.Size == cp.Size {
			if merged, err = l.merge(site, kept, cosigned); err != nil {
				return err
			}
		}
		if key == sizedKey(site, cp.Size) || ok && was.Size == cp.Size {
			changes.put(spaceCheckpoint, key, storedRow(merged))
		}
	}
	if err := l.store(changes); err != nil {
		return err
	}
	l.publish(l.current.head, l.current.views)
	return nil
}

func (l *Ledger) merge(site string, a, b []byte) ([]byte, error) {
	owner, err := l.current.verifier(site)
	if err != nil {
		return nil, err
	}
	var others []note.Verifier
	err = l.current.scan(spacePin, "", "", 0, func(name string, r row) (bool, error) {
		v, err := note.NewVerifier(string(r.value))
		if err == nil && name != site {
			others = append(others, v)
		}
		return true, err
	})
	if err != nil {
		return nil, outward(err)
	}
	return checkpoint.Merge(a, b, owner, others...)
}

// signLast makes a checkpoint of a ledger that is being closed. That it fails is no reason not to close.
func (l *Ledger) signLast() {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if _, err := l.Checkpoint(ctx); err != nil && fault.Reason(err) != "LEDGER_CLOSED" {
		l.log.Warn("the ledger is closed without a last checkpoint", "site", l.site, "error", err)
	}
}

// sign makes checkpoints while entries come: after so many, or so long after the first one not covered.
func (l *Ledger) sign(entries uint64, every time.Duration) {
	covered := uint64(0)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go func() {
		select {
		case <-l.quit:
		case <-ctx.Done():
		}
		cancel()
	}()
	if cp, _, ok, err := l.newest(); ok && err == nil {
		covered = cp.Size
	}
	for l.Await(ctx, covered+1) == nil {
		soon, stop := context.WithTimeout(ctx, every)
		_ = l.Await(soon, covered+entries)
		stop()
		if ctx.Err() != nil {
			return
		}
		if _, err := l.Checkpoint(ctx); err != nil && ctx.Err() == nil {
			l.log.Warn("no checkpoint could be made; it is tried again", "site", l.site, "error", err)
			select {
			case <-time.After(max(every, time.Second)):
			case <-ctx.Done():
			}
			continue
		}
		if cp, _, ok, err := l.newest(); ok && err == nil {
			covered = cp.Size
		}
	}
}

func (l *Ledger) newest() (checkpoint.Checkpoint, []byte, bool, error) {
	snap, err := l.acquire()
	if err != nil {
		return checkpoint.Checkpoint{}, nil, false, err
	}
	defer snap.release()
	return snap.checkpoint(newestKey(l.site))
}
