package ledger

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// fingerprints are the digests of all files under a folder, to see that nothing was touched.
func digests(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	all := map[string][32]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		all[path] = sha256.Sum256(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Whatever key is wrong in whatever way, the ledger refuses, and no byte of the folder changes; with the right key it
// opens as it was.
func TestWrongStoreKeyTouchesNothing(t *testing.T) {
	key, other := StoreKey(newKey()), StoreKey(newKey())
	cases := []struct {
		name            string
		made, given     StoreKey
		loseFingerprint bool
	}{
		{"another key", key, other, false},
		{"no key", key, nil, false},
		{"a key where there was none", nil, key, false},
		{"another key, fingerprint lost", key, other, true},
		{"no key, fingerprint lost", key, nil, true},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			cfg := config(t.TempDir())
			cfg.StoreKey = c.made
			l := open(t, cfg)
			for i := range 5 {
				mustAppend(t, l, does(fmt.Sprint("q-", i), adds("a", 1)))
			}
			l.Close()
			if c.loseFingerprint {
				if err := os.Remove(fingerprintFile(filepath.Join(cfg.Dir, storeFolder))); err != nil {
					t.Fatal(err)
				}
			}
			before := digests(t, cfg.Dir)
			cfg.StoreKey = c.given
			_, err := Open(context.Background(), cfg)
			mustRefuse(t, err, "WRONG_STORE_KEY")
			after := digests(t, cfg.Dir)
			for path, sum := range before {
				if after[path] != sum {
					t.Errorf("%s was changed or deleted", path)
				}
			}
			for path := range after {
				if _, was := before[path]; !was && filepath.Base(path) != "LOCK" {
					t.Errorf("%s was made", path)
				}
			}
			cfg.StoreKey = c.made
			l = open(t, cfg)
			if got := sumOf(t, l, "a"); got != 5 {
				t.Errorf("sum %d, want 5", got)
			}
			mustBeClean(t, l)
		})
	}
}

// Nothing of what is recorded can be read in an encrypted ledger's files, neither while it is open nor after.
func TestEncryptedAtRest(t *testing.T) {
	cfg := config(t.TempDir())
	cfg.StoreKey = newKey()
	l := open(t, cfg)
	for i := range 50 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), named("subject-in-plain", fmt.Sprint("plain-", i))))
	}
	look := func() {
		t.Helper()
		filepath.WalkDir(cfg.Dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := os.ReadFile(path)
			if err != nil || bytes.Contains(b, []byte("in-plain")) || bytes.Contains(b, []byte("plain-7")) {
				t.Errorf("%s holds plain text (%v)", path, err)
			}
			return nil
		})
	}
	look()
	mustBeClean(t, l)
	l.Close()
	look()
	mustBeClean(t, open(t, cfg))
}

func TestStoreThatIsGoneIsNotBegunAnew(t *testing.T) {
	cfg := config(t.TempDir())
	l := open(t, cfg)
	mustAppend(t, l, does("q-1", adds("a", 1)))
	l.Close()
	if err := os.RemoveAll(filepath.Join(cfg.Dir, storeFolder)); err != nil {
		t.Fatal(err)
	}
	_, err := Open(context.Background(), cfg)
	mustRefuse(t, err, "STORE_MISSING")
	if _, err := os.Stat(filepath.Join(cfg.Dir, storeFolder)); err == nil {
		t.Error("a store was begun")
	}
}

func TestStoreKeyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.key")
	key, err := NewStoreKey(path)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ReadStoreKey(path)
	if err != nil || !bytes.Equal(got, key) || len(got) != 32 {
		t.Errorf("%x, %v, want %x", got, err, key)
	}
	_, err = NewStoreKey(path)
	mustRefuse(t, err, "KEY_FILE_NOT_MADE")
	_, err = ReadStoreKey(path + "x")
	mustRefuse(t, err, "KEY_FILE_MISSING")
	for _, bad := range []string{"", "zonule store key 1 00", "zonule person keys 1"} {
		if err := os.WriteFile(path, []byte(bad), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err = ReadStoreKey(path)
		mustRefuse(t, err, "NOT_A_KEY_FILE")
	}
	if bytes.Equal(key.For("a"), key.For("b")) || StoreKey(nil).For("a") != nil {
		t.Error("keys for two uses are one")
	}
}
