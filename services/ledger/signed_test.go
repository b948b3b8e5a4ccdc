package ledger

import (
	"context"
	"encoding/base64"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"zonule/services/ledger/checkpoint"
)

func copyKey(t testing.TB, from, to string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(from, checkpoint.KeyFile))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(to, checkpoint.KeyFile), b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// stranger verifies that an entry is in a ledger with nothing but golang.org/x/mod: it has the site's verifier key, a
// signed checkpoint, the entry's stored bytes and sequence, and the hashes of an inclusion proof.
func stranger(verifierKey string, signed, entry []byte, sequence int64, proof []tlog.Hash) (origin string, err error) {
	v, err := note.NewVerifier(verifierKey)
	if err != nil {
		return "", err
	}
	n, err := note.Open(signed, note.VerifierList(v))
	if err != nil {
		return "", err
	}
	lines := strings.Split(n.Text, "\n")
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil {
		return "", err
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return "", err
	}
	return lines[0], tlog.CheckRecord(tlog.RecordProof(proof), size, root, sequence-1, tlog.RecordHash(entry))
}

func TestAStrangerVerifies(t *testing.T) {
	l := open(t, config(t.TempDir()))
	for i := range 37 {
		mustAppend(t, l, does("", adds("x", int64(i))))
	}
	signed, entries := signedHead(t, l), all(t, l)
	mustAppend(t, l, does("", adds("x", 1))) // the ledger goes on; the checkpoint stays good
	for _, one := range entries {
		p, err := l.ProveInclusion(one.Sequence, 37)
		if err != nil {
			t.Fatal(err)
		}
		origin, err := stranger(l.VerifierKey(), signed, one.Bytes, int64(one.Sequence), p.Hashes)
		if err != nil || origin != "zonule/north/lab-1" {
			t.Errorf("entry %d: %q, %v", one.Sequence, origin, err)
		}
		other := entries[one.Sequence%37].Bytes
		if _, err := stranger(l.VerifierKey(), signed, other, int64(one.Sequence), p.Hashes); err == nil {
			t.Errorf("another entry passes as entry %d", one.Sequence)
		}
	}
	p, err := l.ProveInclusion(3, 37)
	if err != nil {
		t.Fatal(err)
	}
	for i := range len(signed) - 3 { // the last digit of the base64 holds bits of no meaning
		bad := append([]byte{}, signed...)
		bad[i] ^= 1
		if _, err := stranger(l.VerifierKey(), bad, entries[2].Bytes, 3, p.Hashes); err == nil {
			t.Errorf("the checkpoint passes with byte %d changed:\n%s", i, bad)
		}
	}
	if lines := strings.Split(string(signed), "\n"); len(lines) != 6 || lines[1] != "37" || lines[3] != "" || !strings.HasPrefix(lines[4], "— zonule/north/lab-1 ") {
		t.Errorf("not a C2SP checkpoint:\n%s", signed)
	} else if root, err := base64.StdEncoding.DecodeString(lines[2]); err != nil || len(root) != 32 {
		t.Errorf("root %q: %v", lines[2], err)
	}
}

func TestCheckpointsAreMadeByThemselves(t *testing.T) {
	c := config(t.TempDir())
	c.CheckpointEvery, c.CheckpointEntries = 10*time.Millisecond, 1000
	l := open(t, c)
	if signed := signedHead(t, l); signed != nil {
		t.Errorf("an empty ledger has a checkpoint: %s", signed)
	}
	mustAppend(t, l, does("", adds("x", 1)))
	until := time.Now().Add(10 * time.Second)
	for {
		signed, err := l.LastCheckpoint("lab-1")
		if err != nil {
			t.Fatal(err)
		}
		if cp, err := checkpoint.Open(signed, l.key.Verifier); err == nil && cp.Size == 1 {
			break
		}
		if time.Now().After(until) {
			t.Fatalf("no checkpoint after 10 s: %s", signed)
		}
		time.Sleep(time.Millisecond)
	}
	mustAppend(t, l, does("", adds("x", 1)))
	l.Close()
	signed, err := os.ReadFile(filepath.Join(c.Dir, checkpointFile))
	if cp, bad := checkpoint.Open(signed, l.key.Verifier); err != nil || bad != nil || cp.Size != 2 || cp.Root != l.tree.mustRoot() {
		t.Errorf("at the close %+v was signed: %v, %v", cp, err, bad)
	}
	if info, err := os.Stat(filepath.Join(c.Dir, checkpoint.KeyFile)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key file: %v, %v", info.Mode(), err)
	}
}

func (f frontier) mustRoot() tlog.Hash {
	root, err := f.root()
	if err != nil {
		panic(err)
	}
	return root
}

// TestStartComparesWithWhatWasSigned gives a site an older store, another's, or none, beside its newest checkpoint.
func TestStartComparesWithWhatWasSigned(t *testing.T) {
	setup := func(t *testing.T) (now, older Config) {
		c := config(t.TempDir())
		l := open(t, c)
		mustAppend(t, l, does("", adds("x", 1)))
		signedHead(t, l)
		l.Close()
		older = c
		older.Dir = t.TempDir()
		copyFolder(t, c.Dir, older.Dir)
		l = open(t, c)
		mustAppend(t, l, does("", adds("x", 2)))
		signedHead(t, l)
		l.Close()
		return c, older
	}
	swap := func(t *testing.T, c Config, from string) {
		t.Helper()
		if err := os.RemoveAll(filepath.Join(c.Dir, storeFolder)); err != nil {
			t.Fatal(err)
		}
		if from != "" {
			copyFolder(t, filepath.Join(from, storeFolder), filepath.Join(c.Dir, storeFolder))
		}
	}
	t.Run("an older store", func(t *testing.T) {
		c, older := setup(t)
		swap(t, c, older.Dir)
		_, err := Open(context.Background(), c)
		mustRefuse(t, err, "END_MISSING")
	})
	t.Run("no store", func(t *testing.T) {
		c, _ := setup(t)
		swap(t, c, "")
		_, err := Open(context.Background(), c)
		mustRefuse(t, err, "STORE_MISSING")
	})
	t.Run("another history", func(t *testing.T) {
		c, older := setup(t)
		l := open(t, older)
		mustAppend(t, l, does("", adds("x", 3)))
		l.Close()
		swap(t, c, older.Dir)
		_, err := Open(context.Background(), c)
		mustRefuse(t, err, "HISTORY_DIFFERS")
	})
	t.Run("the key is gone", func(t *testing.T) {
		c, _ := setup(t)
		if err := os.Remove(filepath.Join(c.Dir, checkpoint.KeyFile)); err != nil {
			t.Fatal(err)
		}
		_, err := Open(context.Background(), c)
		mustRefuse(t, err, "SITE_KEY_MISSING")
	})
	t.Run("another key", func(t *testing.T) {
		c, _ := setup(t)
		stranger := config(t.TempDir())
		open(t, stranger).Close()
		copyKey(t, stranger.Dir, c.Dir)
		_, err := Open(context.Background(), c)
		mustRefuse(t, err, "OTHER_SITE_KEY")
	})
	t.Run("a damaged file of the checkpoint", func(t *testing.T) {
		c, _ := setup(t)
		if err := os.WriteFile(filepath.Join(c.Dir, checkpointFile), []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
		mustBeClean(t, open(t, c))
	})
}
