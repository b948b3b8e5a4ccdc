package ledger

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"zonule/services/ledger/checkpoint"
)

// siteConfig is a ledger of another site of the tests' programme.
func siteConfig(dir, site string) Config {
	c := config(dir)
	c.Site = site
	return c
}

// all gives every own entry of a ledger.
func all(t testing.TB, l *Ledger) []Stored {
	t.Helper()
	var entries []Stored
	for uint64(len(entries)) < l.Head().Size {
		run, err := l.Stored(context.Background(), uint64(len(entries))+1, 1000)
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, run...)
	}
	return entries
}

func signedHead(t testing.TB, l *Ledger) []byte {
	t.Helper()
	signed, err := l.Checkpoint(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return signed
}

// follow brings a copy up to date: everything received, accepted and folded.
func follow(t testing.TB, into, owner *Ledger) {
	t.Helper()
	ctx, site := context.Background(), owner.Site()
	if err := into.OpenCopy(ctx, site, owner.VerifierKey()); err != nil {
		t.Fatal(err)
	}
	c, err := into.CopyOf(site)
	if err != nil {
		t.Fatal(err)
	}
	if err := into.Receive(ctx, site, all(t, owner)[c.Received:]); err != nil {
		t.Fatal(err)
	}
	if signed := signedHead(t, owner); signed != nil {
		if _, err := into.Accept(ctx, site, signed); err != nil {
			t.Fatal(err)
		}
	}
	foldAll(t, into, site)
}

func foldAll(t testing.TB, l *Ledger, site string) {
	t.Helper()
	for more := true; more; {
		var err error
		if more, err = l.FoldCopy(context.Background(), site); err != nil {
			t.Fatal(err)
		}
	}
}

func wantCopy(t testing.TB, l *Ledger, site string, received, verified, folded uint64) {
	t.Helper()
	c, err := l.CopyOf(site)
	if err != nil || c.Received != received || c.Verified != verified || c.Folded != folded {
		t.Fatalf("the copy is %+v (%v), want %d received, %d verified, %d folded", c, err, received, verified, folded)
	}
}

func TestACopyIsFoldedIntoTheSameViews(t *testing.T) {
	owner := open(t, siteConfig(t.TempDir(), "bench"))
	here := config(t.TempDir())
	l := open(t, here)
	for i := range 700 {
		mustAppend(t, owner, does(fmt.Sprint("q-", i), adds("both", 1), named(fmt.Sprint("n-", i%9), fmt.Sprint(i))))
	}
	mustAppend(t, l, does("q-1", adds("both", 10)))
	follow(t, l, owner)
	mustAppend(t, l, does("q-2", adds("both", 10)))
	mustAppend(t, owner, does("q-700", adds("both", 1)))
	follow(t, l, owner)
	if got := sumOf(t, l, "both"); got != 721 {
		t.Errorf("sum %d, want 721", got)
	}
	if l.Head().Size != 2 {
		t.Errorf("the own ledger has %d entries, want 2", l.Head().Size)
	}
	wantCopy(t, l, "bench", 1401, 1401, 1401)
	if r := mustAppend(t, l, does("q-2", adds("both", 10))); !r.Repeated {
		t.Error("another site's request of the same id hides the own")
	}
	mustBeClean(t, l)
	rebuilt := here
	rebuilt.Views = []View{sums{version: 2}, names{}}
	l.Close()
	l = open(t, rebuilt)
	if got := sumOf(t, l, "both"); got != 1442 {
		t.Errorf("after a rebuild with another version the sum is %d, want 1442", got)
	}
	mustBeClean(t, l)
}

func TestACopyRefuses(t *testing.T) {
	ctx := context.Background()
	owner := open(t, siteConfig(t.TempDir(), "bench"))
	for i := range 20 {
		mustAppend(t, owner, does("", adds("x", int64(i))))
	}
	entries, signed := all(t, owner), signedHead(t, owner)
	l := open(t, config(t.TempDir()))
	mustRefuse(t, l.OpenCopy(ctx, "lab-1", l.VerifierKey()), "OWN_SITE")
	mustRefuse(t, l.OpenCopy(ctx, "bench", "nonsense"), "BAD_KEY")
	mustRefuse(t, l.OpenCopy(ctx, "bench", l.VerifierKey()), "BAD_KEY")
	mustRefuse(t, l.Receive(ctx, "bench", entries[:1]), "NO_SUCH_COPY")
	if err := l.OpenCopy(ctx, "bench", owner.VerifierKey()); err != nil {
		t.Fatal(err)
	}
	other := open(t, siteConfig(t.TempDir(), "bench"))
	mustRefuse(t, l.OpenCopy(ctx, "bench", other.VerifierKey()), "OTHER_KEY")

	mustRefuse(t, l.Receive(ctx, "bench", entries[1:2]), "GAP")
	mustRefuse(t, l.Receive(ctx, "bench", []Stored{entries[0], entries[2]}), "GAP")
	changed := entries[0]
	changed.Bytes = append([]byte{}, changed.Bytes...)
	changed.Bytes[len(changed.Bytes)-1] ^= 1
	mustRefuse(t, l.Receive(ctx, "bench", []Stored{changed}), "NOT_AN_ENTRY")
	moved := entries[1]
	moved.Sequence = 1
	mustRefuse(t, l.Receive(ctx, "bench", []Stored{moved}), "NOT_AN_ENTRY")

	if err := l.Receive(ctx, "bench", entries[:10]); err != nil {
		t.Fatal(err)
	}
	mustRefuse(t, l.Receive(ctx, "bench", entries[:10]), "GAP")
	_, err := l.Accept(ctx, "bench", signed)
	mustRefuse(t, err, "BEYOND_COPY")
	_, err = l.Accept(ctx, "bench", signedHead(t, other))
	mustRefuse(t, err, "NOT_SIGNED")
	wantCopy(t, l, "bench", 10, 0, 0)
	foldAll(t, l, "bench") // nothing is verified, so nothing is folded
	wantCopy(t, l, "bench", 10, 0, 0)
	if got := sumOf(t, l, "x"); got != -1 {
		t.Errorf("an unverified entry is in the views: sum %d", got)
	}
	if err := l.Receive(ctx, "bench", entries[10:]); err != nil {
		t.Fatal(err)
	}
	if _, err := l.Accept(ctx, "bench", signed); err != nil {
		t.Fatal(err)
	}
	foldAll(t, l, "bench")
	wantCopy(t, l, "bench", 20, 20, 20)
	mustBeClean(t, l)
}

// twin is a second ledger of the same site with the same key: what a site has that was put back from an old copy.
func twin(t *testing.T, of Config) Config {
	c := of
	c.Dir = t.TempDir()
	copyKey(t, of.Dir, c.Dir)
	return c
}

func TestAForkIsRefused(t *testing.T) {
	ctx := context.Background()
	first := siteConfig(t.TempDir(), "bench")
	owner := open(t, first)
	second := open(t, twin(t, first))
	for i := range 12 {
		mustAppend(t, owner, does("", adds("x", int64(i))))
		mustAppend(t, second, does("", adds("x", int64(i/6*100+i)))) // another history from entry 7 on
	}
	l := open(t, config(t.TempDir()))
	follow(t, l, owner)
	_, err := l.Accept(ctx, "bench", signedHead(t, second))
	mustRefuse(t, err, "FORK")
	mustAppend(t, second, does("", adds("x", 1)))
	if err := l.Receive(ctx, "bench", all(t, second)[12:]); err != nil { // fits by number, not by history
		t.Fatal(err)
	}
	_, err = l.Accept(ctx, "bench", signedHead(t, second))
	mustRefuse(t, err, "COPY_DIFFERS")
	if err := l.Discard(ctx, "bench"); err != nil {
		t.Fatal(err)
	}
	wantCopy(t, l, "bench", 12, 12, 12)
	mustAppend(t, owner, does("", adds("x", 5)))
	follow(t, l, owner)
	mustBeClean(t, l)
}

func TestCosignatures(t *testing.T) {
	ctx := context.Background()
	owner := open(t, siteConfig(t.TempDir(), "bench"))
	l := open(t, config(t.TempDir()))
	mustAppend(t, owner, does("", adds("x", 1)))
	if err := l.OpenCopy(ctx, "bench", owner.VerifierKey()); err != nil {
		t.Fatal(err)
	}
	_, err := l.Cosign(ctx, "bench")
	mustRefuse(t, err, "NOTHING_TO_COSIGN")
	follow(t, l, owner)
	cosigned, err := l.Cosign(ctx, "bench")
	if err != nil {
		t.Fatal(err)
	}
	mustRefuse(t, owner.AddCosignature(ctx, "lab-1", l.VerifierKey(), signedHead(t, owner)), "BAD_COSIGNATURE")
	mustRefuse(t, owner.AddCosignature(ctx, "lab-1", owner.VerifierKey(), cosigned), "BAD_KEY")
	mustAppend(t, owner, does("", adds("x", 1))) // the owner has moved on
	signedHead(t, owner)
	if err := owner.AddCosignature(ctx, "lab-1", l.VerifierKey(), cosigned); err != nil {
		t.Fatal(err)
	}
	kept, err := owner.CheckpointAt("bench", 1)
	if err != nil {
		t.Fatal(err)
	}
	ownerKey, _ := note.NewVerifier(owner.VerifierKey())
	cosigner, _ := note.NewVerifier(l.VerifierKey())
	n, err := note.Open(kept, note.VerifierList(ownerKey, cosigner))
	if err != nil || len(n.Sigs) != 2 || n.Sigs[0].Name != "zonule/north/bench" || n.Sigs[1].Name != "zonule/north/lab-1" {
		t.Errorf("kept is %s (%v)", kept, err)
	}
	mustBeClean(t, owner)
	mustBeClean(t, l)
	cp, err := checkpoint.Open(kept, ownerKey)
	if err != nil || cp.Size != 1 {
		t.Errorf("%+v, %v", cp, err)
	}
}

// TestADamagedCopyIsTakenBack damages what is kept of another site, in every part, and follows on.
func TestADamagedCopyIsTakenBack(t *testing.T) {
	cases := []struct {
		name, space, key string
		verdict          string
	}{
		{"an entry", copySpace("bench"), sequenceKey(7), "copy of bench"},
		{"the first entry", copySpace("bench"), sequenceKey(1), "copy of bench"},
		{"a tree hash", graftSpace("bench"), sequenceKey(12), "copy of bench"},
		{"the order", spaceOrder, sequenceKey(2), "order"},
		{"the places", spaceMeta, keyCopies, "head"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			owner, here := open(t, siteConfig(t.TempDir(), "bench")), config(t.TempDir())
			l := open(t, here)
			for i := range 6 {
				mustAppend(t, owner, does("", adds("x", 1), adds("y", int64(i))))
				mustAppend(t, l, does("", adds("x", 100)))
				follow(t, l, owner)
			}
			spoil(t, l, c.space, c.key, func(v []byte) []byte { v = append([]byte{}, v...); v[len(v)-1] ^= 4; return v })
			r, err := l.Check(context.Background())
			if err != nil || !slices.ContainsFunc(r.Verdicts, func(v Verdict) bool { return v.What == c.verdict && !v.Holds }) {
				t.Errorf("the check does not name %s (%v):\n%s", c.verdict, err, r)
			}
			l.Close()
			here.Views = []View{sums{version: 3}, names{}} // so that all is folded again
			l = open(t, here)
			follow(t, l, owner)
			wantCopy(t, l, "bench", 12, 12, 12)
			if got := sumOf(t, l, "x"); got != 3*606 {
				t.Errorf("sum %d, want %d", got, 3*606)
			}
			mustBeClean(t, l)
		})
	}
}

// TestSitesThatFollowEachOther lets three sites record, follow, close, open again, rebuild, in random order. After each
// step every ledger is clean, and in the end all show the same.
func TestSitesThatFollowEachOther(t *testing.T) {
	steps := 120
	if testing.Short() {
		steps = 30
	}
	random := rand.New(rand.NewPCG(4, 4))
	var configs []Config
	var ledgers []*Ledger
	for i := range 3 {
		configs = append(configs, siteConfig(t.TempDir(), fmt.Sprint("site-", i)))
		ledgers = append(ledgers, open(t, configs[i]))
	}
	want := int64(0)
	for step := range steps {
		i, j := random.IntN(3), random.IntN(3)
		switch kind := random.IntN(10); {
		case kind < 5 || i == j:
			n := int64(random.IntN(100))
			mustAppend(t, ledgers[i], does("", adds("all", n), adds(configs[i].Site, n)))
			want += n
		case kind < 9:
			follow(t, ledgers[i], ledgers[j])
		default:
			ledgers[i].Close()
			ledgers[i] = open(t, configs[i])
		}
		if step%10 == 0 {
			mustBeClean(t, ledgers[i])
		}
	}
	for i := range ledgers {
		for j := range ledgers {
			if i != j {
				follow(t, ledgers[i], ledgers[j])
			}
		}
		if got := sumOf(t, ledgers[i], "all"); got != want {
			t.Errorf("%s: sum %d, want %d", configs[i].Site, got, want)
		}
		if r := mustBeClean(t, ledgers[i]); !strings.Contains(r.String(), "runs of other sites' entries are in order") {
			t.Errorf("the order was not checked:\n%s", r)
		}
	}
}
