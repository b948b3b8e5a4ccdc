package ledger

import (
	"context"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// known says whether a key has a place in the layout.
func (c *checker) known(key string) bool {
	switch key[:1] {
	case spaceMeta:
		return key == spaceMeta+keyIdentity || key == spaceMeta+keyHead || key == spaceMeta+keyViews || key == spaceMeta+keyCopies
	case spaceEntry, spaceHash:
		sequence, ok := sequenceOfKey(key[1:])
		return ok && sequence >= 1 && sequence <= c.snap.head.Size
	case spaceSealed, spaceCursor, spacePin:
		return len(key) > 1
	case spaceOrder:
		sequence, ok := sequenceOfKey(key[1:])
		return ok && sequence >= 1 && sequence <= c.snap.place.runs
	case spaceCopy, spaceGraft: // beyond what was received may lie what is being received again
		site, rest, _ := strings.Cut(key[1:], "\x00")
		sequence, ok := sequenceOfKey(rest)
		return ok && sequence >= 1 && findCopy(c.snap.place.copies, site) >= 0
	case spaceCheckpoint:
		site, rest, _ := strings.Cut(key[1:], "\x00")
		_, pinned, err := c.snap.pinned(site)
		return err == nil && pinned && (rest == "newest" || len(rest) == 8)
	case spaceView:
		for _, v := range c.snap.views {
			if strings.HasPrefix(key, v.space) && len(key) > len(v.space) {
				return true
			}
		}
	}
	return false
}

// checkpoints tests that every checkpoint kept is signed by its owner and is of the tree that is here.
func (c *checker) checkpoints(context.Context) error {
	v, n := verdict{what: "checkpoints"}, 0
	err := c.snap.scan(spaceCheckpoint, "", "", 0, func(key string, _ row) (bool, error) {
		n++
		site, _, _ := strings.Cut(key, "\x00")
		cp, _, _, err := c.snap.checkpoint(key)
		if err != nil {
			v.fault("A checkpoint of site %q is damaged or not signed by its key.", site)
			return true, nil
		}
		chain := c.snap.chainOf(site)
		if chain.copied && cp.Size > chain.size { // the copy was taken back, and is not that far again
			return true, nil
		}
		if root, err := chain.rootAt(cp.Size); err != nil || root != cp.Root || cp.Size > chain.size {
			v.fault("The checkpoint of %d entries of site %q is not of the tree that is here.", cp.Size, site)
		}
		return true, nil
	})
	if err != nil {
		v.fault("The checkpoints cannot all be read: %v.", err)
	}
	c.say(v.close("%d signed checkpoints are of the trees that are here.", n))
	return nil
}

// copies walks the copies of other sites' ledgers, and the order in which they were folded.
func (c *checker) copies(ctx context.Context) error {
	for _, state := range c.snap.place.copies {
		v := verdict{what: "copy of " + state.site}
		if err := c.copied(ctx, &v, c.snap.copyOf(state)); err != nil {
			return err
		}
		if state.folded > state.verified || state.verified > state.received {
			v.fault("It has %d entries, %d verified, %d folded.", state.received, state.verified, state.folded)
		}
		c.say(v.close("its %d entries are there, without a gap, and give the stored tree; %d are covered by a checkpoint its owner signed, %d are in the views.", state.received, state.verified, state.folded))
	}
	if c.snap.place.runs == 0 && c.snap.place.folded() == 0 {
		return nil
	}
	v := verdict{what: "order"}
	if err := c.snap.order(func(run) error { return nil }); err != nil {
		v.fault("%v. Start the site again: it is made anew.", err)
	}
	c.say(v.close("the %d runs of other sites' entries are in order and complete.", c.snap.place.runs))
	return nil
}

// copied tests the entries and the tree of one copy.
func (c *checker) copied(ctx context.Context, v *verdict, copied chain) error {
	grown, whole := frontier{peaks: map[int64]tlog.Hash{}}, true
	for next := uint64(1); next <= copied.size; { // begins again behind a bad entry
		err := copied.walkEntries(ctx, next, copied.size, func(sequence uint64, r row) (bool, error) {
			next = sequence + 1
			c.entryOf(v, copied.site, sequence, r.value)
			if !whole {
				return true, nil
			}
			want, err := grown.grow(tlog.RecordHash(r.value))
			if err != nil {
				return false, err
			}
			got, ok, err := copied.get(copied.hashes, sequenceKey(sequence))
			if err != nil || !ok || string(got.value) != string(joinGroup(want)) {
				v.fault("The tree hashes of entry %d are not those of its bytes.", sequence)
			}
			return true, nil
		})
		if ctx.Err() != nil {
			return outOfTime(ctx, "The time was over while checking the ledger.")
		}
		if err != nil {
			v.fault("Entry %d is missing or fails its checksum; its owner has it.", next)
			next, whole = next+1, false
		}
	}
	return nil
}

// entryOf tests the content of one entry of a site.
func (c *checker) entryOf(v *verdict, site string, sequence uint64, value []byte) {
	e, err := decodeEntry(sequence, value)
	if err != nil {
		v.fault("Entry %d does not decode or lies in another's place.", sequence)
		return
	}
	if e.GetSite() != site || e.GetProgramme() != c.l.programme {
		v.fault("Entry %d is of site %q, programme %q.", sequence, e.GetSite(), e.GetProgramme())
	}
	if e.GetActor() == "" || e.GetSubjectId() == "" || e.GetRecordedAt().CheckValid() != nil {
		v.fault("Entry %d lacks its actor, subject or time.", sequence)
	}
	if name := string(e.GetPayload().MessageName().Name()); name == "" || name != e.GetKind() {
		v.fault("Entry %d says it is a %q but holds a %q.", sequence, e.GetKind(), name)
	}
}
