package ledger

import (
	"context"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// Verdict is the outcome of one test of a ledger.
type Verdict struct {
	What     string // fixed: "entries", "tree", "view drills", ...
	Holds    bool
	Sentence string
}

// Report is what a check found, at one head.
type Report struct {
	Head     Head
	Verdicts []Verdict
}

// Clean says whether every verdict holds.
func (r Report) Clean() bool {
	for _, v := range r.Verdicts {
		if !v.Holds {
			return false
		}
	}
	return len(r.Verdicts) > 0
}

// String gives one line for each verdict.
func (r Report) String() string {
	var b strings.Builder
	for _, v := range r.Verdicts {
		mark := "ok  "
		if !v.Holds {
			mark = "BAD "
		}
		fmt.Fprintf(&b, "%s%s: %s\n", mark, v.What, v.Sentence)
	}
	return b.String()
}

// verdictPersonal is what the verdict on personal data is about.
const verdictPersonal = "personal data"

// maxNamed bounds how many faults of one kind are named.
const maxNamed = 10

// verdict collects what is wrong under one heading.
type verdict struct {
	what   string
	faults []string
	more   int
}

func (v *verdict) fault(format string, a ...any) {
	if len(v.faults) == maxNamed {
		v.more++
		return
	}
	v.faults = append(v.faults, fmt.Sprintf(format, a...))
}

// close makes the verdict; good is the sentence when nothing was wrong.
func (v *verdict) close(good string, a ...any) Verdict {
	if len(v.faults) == 0 {
		return Verdict{What: v.what, Holds: true, Sentence: fmt.Sprintf(good, a...)}
	}
	sentence := strings.Join(v.faults, " ")
	if v.more > 0 {
		sentence += fmt.Sprintf(" And %d more.", v.more)
	}
	return Verdict{What: v.what, Sentence: sentence}
}

// Check reads the whole ledger, as one commit left it, and tests everything that must be true of it: every stored value
// has its checksum; the entries are dense, decode, and are this site's; the tree hashes are those of the stored bytes
// and give the head's root; every view is what a fresh fold gives, row for row; nothing carried elsewhere is beyond the
// end; sealed personal data open and match their commitments; there is no row of an unknown kind. It changes nothing.
// An error means that the check could not be made; what is wrong with the ledger stands in the report.
func (l *Ledger) Check(ctx context.Context) (Report, error) {
	snap, err := l.acquire()
	if err != nil {
		return Report{}, err
	}
	defer snap.release()
	c := &checker{l: l, snap: snap, report: Report{Head: snap.head}}
	for _, step := range []func(context.Context) error{c.checksums, c.head, c.entries, c.checkpoints, c.copies, c.views, c.cursors, c.sealed} {
		if err := step(ctx); err != nil {
			return Report{}, err
		}
	}
	return c.report, nil
}

// checker is one check under way.
type checker struct {
	l      *Ledger
	snap   *snapshot
	report Report
}

func (c *checker) say(v Verdict) { c.report.Verdicts = append(c.report.Verdicts, v) }

// checksums verifies every value in the store and that every key is of a known kind.
func (c *checker) checksums(ctx context.Context) error {
	v := verdict{what: "checksums"}
	n, strange := 0, verdict{what: "keys"}
	err := c.snap.walk("", "", "", 0, func(key string, full, stored []byte) (bool, error) {
		if n++; n%1024 == 0 && ctx.Err() != nil {
			return false, outOfTime(ctx, "The time was over while checking the ledger.")
		}
		if _, ok := openRow(full, stored); !ok {
			v.fault("The row %q fails its checksum.", key)
		}
		if !c.known(key) {
			strange.fault("The row %q is of no known kind.", key)
		}
		return true, nil
	})
	if ctx.Err() != nil {
		return err
	}
	if err != nil {
		v.fault("The store's files are damaged: %v.", err)
	}
	c.say(v.close("all %d stored rows match their checksums.", n))
	c.say(strange.close("every row is of a known kind."))
	return nil
}

// head tests that what the ledger says of itself is what it holds.
func (c *checker) head(context.Context) error {
	v := verdict{what: "head"}
	if r, ok, err := c.snap.get(spaceMeta, keyHead); err != nil || !ok || string(r.value) != string(encodeHead(c.snap.head)) {
		v.fault("The stored head is not the one the ledger works with.")
	}
	if r, ok, err := c.snap.get(spaceMeta, keyViews); err != nil || !ok || string(r.value) != string(encodeViews(c.snap.views)) {
		v.fault("The stored record of the views is not the one the ledger works with.")
	}
	if r, ok, err := c.snap.get(spaceMeta, keyCopies); err != nil || string(r.value) != string(encodePlaces(c.snap.place)) && (ok || len(c.snap.place.copies) > 0) {
		v.fault("The stored record of the copies of other sites is not the one the ledger works with.")
	}
	if last, err := c.snap.lastSequence(); err != nil || last != c.snap.head.Size {
		v.fault("The head speaks of %d entries, but the last one stored is %d.", c.snap.head.Size, last)
	}
	c.say(v.close("the ledger ends at entry %d, as its head says.", c.snap.head.Size))
	return nil
}

// entries walks the entries and the tree side by side.
func (c *checker) entries(ctx context.Context) error {
	entries, tree := verdict{what: "entries"}, verdict{what: "tree"}
	grown := frontier{peaks: map[int64]tlog.Hash{}}
	whole := true
	for next := uint64(1); next <= c.snap.head.Size; { // begins again behind a bad entry
		err := c.snap.entries(ctx, next, func(sequence uint64, r row) (bool, error) {
			next = sequence + 1
			c.entryOf(&entries, c.l.site, sequence, r.value)
			if whole {
				c.group(&tree, &grown, sequence, tlog.RecordHash(r.value))
			}
			return true, nil
		})
		if ctx.Err() != nil {
			return outOfTime(ctx, "The time was over while checking the ledger.")
		}
		if err != nil {
			entries.fault("Entry %d is missing or fails its checksum.", next)
			if whole {
				tree.fault("The hashes from entry %d on could not be tested.", next)
			}
			whole = false
			next++
		}
	}
	c.say(entries.close("all %d entries are there, without a gap, and are this site's.", c.snap.head.Size))
	if whole {
		if root, err := grown.root(); err != nil || root != c.snap.head.Root {
			tree.fault("The entries give the root hash %v, but the head says %v.", root, c.snap.head.Root)
		}
	}
	c.say(tree.close("the stored hashes are those of the stored bytes and give the root hash %v.", c.snap.head.Root))
	return nil
}

// group tests the stored tree hashes that an entry completes.
func (c *checker) group(v *verdict, grown *frontier, sequence uint64, leaf tlog.Hash) {
	want, err := grown.grow(leaf)
	if err != nil {
		v.fault("The tree cannot be grown by entry %d: %v.", sequence, err)
		return
	}
	r, ok, err := c.snap.get(spaceHash, sequenceKey(sequence))
	switch {
	case err != nil:
		v.fault("The tree hashes of entry %d cannot be read: %v.", sequence, err)
	case !ok:
		v.fault("The tree hashes of entry %d are missing.", sequence)
	case string(r.value) != string(joinGroup(want)):
		v.fault("The tree hashes of entry %d are not those of its bytes.", sequence)
	}
}

// cursors tests that nothing was carried that is not there.
func (c *checker) cursors(context.Context) error {
	v := verdict{what: "cursors"}
	err := c.snap.scan(spaceCursor, "", "", 0, func(name string, r row) (bool, error) {
		sequence, ok := sequenceOfKey(string(r.value))
		if !ok || sequence > c.snap.head.Size {
			v.fault("%q is said to have carried entry %d of %d.", name, sequence, c.snap.head.Size)
		}
		return true, nil
	})
	if err != nil {
		v.fault("The cursors cannot be read: %v.", err)
	}
	c.say(v.close("nothing was carried elsewhere that is not here."))
	return nil
}

// sealed tests that personal data can be opened by those keys that exist.
func (c *checker) sealed(context.Context) error {
	v := verdict{what: verdictPersonal}
	opened, erased := 0, 0
	err := c.snap.scan(spaceSealed, "", "", 0, func(person string, r row) (bool, error) {
		switch key, gone := c.l.keys.key(person); {
		case gone:
			erased++
		case key == nil:
			v.fault("The key of person %q is missing.", person)
		default:
			opened++
			if _, err := c.l.unbox(person, key, r.value); err != nil {
				v.fault("What is kept about person %q cannot be opened or is not what was committed to.", person)
			}
		}
		return true, nil
	})
	if err != nil {
		v.fault("The personal data cannot all be read: %v.", err)
	}
	c.say(v.close("the data of %d persons open and match their commitments; %d were erased.", opened, erased))
	return nil
}
