package ledger

import (
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"zonule/services/fault"
)

func keep(t *testing.T, l *Ledger, person, data string) []byte {
	t.Helper()
	sealed, commitment, err := l.Seal(person, []byte(data))
	if err != nil {
		t.Fatal(err)
	}
	c := does("", named(person, "kept"))
	c.Private = []Sealed{sealed}
	mustAppend(t, l, c)
	return commitment
}

func TestSealAndErase(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	const secret = "an-invented-name <invented@example.invalid>"
	first := keep(t, l, "p-1", "before "+secret)
	second := keep(t, l, "p-1", secret)
	keep(t, l, "p-2", "other")
	if bytes.Equal(first, second) {
		t.Error("two sealings have one commitment")
	}
	l.Close()
	l = open(t, c)
	if got, err := l.Unseal("p-1", second); err != nil || string(got) != secret {
		t.Errorf("unsealed %q, %v", got, err)
	}
	_, err := l.Unseal("p-1", first)
	mustRefuse(t, err, "OTHER_COMMITMENT")
	_, err = l.Unseal("p-3")
	mustRefuse(t, err, "NO_PERSONAL_DATA")
	info, err := os.Stat(filepath.Join(c.Dir, KeyFileName))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key file: %v, %v", info.Mode(), err)
	}
	head := l.Head()
	if err := l.Erase("p-1"); err != nil {
		t.Fatal(err)
	}
	_, err = l.Unseal("p-1")
	mustRefuse(t, err, "PERSON_ERASED")
	_, _, err = l.Seal("p-1", []byte("again"))
	mustRefuse(t, err, "PERSON_ERASED")
	l.Close()
	l = open(t, c)
	_, err = l.Unseal("p-1", second)
	mustRefuse(t, err, "PERSON_ERASED")
	if got, err := l.Unseal("p-2"); err != nil || string(got) != "other" {
		t.Errorf("the other person's data: %q, %v", got, err)
	}
	if l.Head() != head {
		t.Error("erasing changed the ledger")
	}
	mustBeClean(t, l)
	l.Close()
	mustNotLie(t, c.Dir, secret)
}

// mustNotLie looks for plain personal data in every file of the data folder.
func mustNotLie(t *testing.T, dir, secret string) {
	t.Helper()
	filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(b, []byte(secret)) {
			t.Errorf("%s holds personal data in plain", filepath.Base(path))
		}
		return nil
	})
}

// A sealed record must not pass for another person's, and a changed one must not open.
func TestSealedRecordsAreBound(t *testing.T) {
	l := open(t, config(t.TempDir()))
	keep(t, l, "p-1", "one")
	keep(t, l, "p-2", "two")
	box := []byte(nil)
	spoil(t, l, spaceSealed, "p-1", func(b []byte) []byte { box = append(box, b...); return b })
	spoil(t, l, spaceSealed, "p-2", func([]byte) []byte {
		b := append([]byte(nil), box...)
		closeRow([]byte(spaceSealed+"p-2"), b)
		return b
	})
	_, err := l.Unseal("p-2")
	mustRefuse(t, err, "SEALED_DAMAGED")
	mustBeBad(t, l, "personal data")
	spoil(t, l, spaceSealed, "p-1", flip)
	_, err = l.Unseal("p-1")
	mustRefuse(t, err, "ROW_DAMAGED")
}

func TestKeyFile(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	keep(t, l, "p-1", "one")
	l.Close()
	path := filepath.Join(c.Dir, KeyFileName)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, whole[:len(whole)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(context.Background(), c); err == nil {
		t.Error("opened with half a key file")
	}
	foreign := bytes.Replace(whole, []byte(`"lab-1"`), []byte(`"lab-2"`), 1)
	if err := os.WriteFile(path, foreign, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(context.Background(), c); err == nil {
		t.Error("opened with another site's key file")
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	l = open(t, c)
	_, err = l.Unseal("p-1")
	mustRefuse(t, err, "KEY_MISSING")
	mustBeBad(t, l, "personal data")
	l.Close()
	if err := os.WriteFile(path, whole, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o666); err != nil {
		t.Fatal(err)
	}
	l = open(t, c)
	if got, err := l.Unseal("p-1"); err != nil || string(got) != "one" {
		t.Errorf("with its key file back: %q, %v", got, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("an open key file was not closed: %v, %v", info.Mode(), err)
	}
}

// A key that could not be written must not be used: what it encrypts could never be read again.
func TestKeyThatCannotBeWritten(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	if err := os.Mkdir(filepath.Join(c.Dir, KeyFileName+".new"), 0o700); err != nil {
		t.Fatal(err)
	}
	_, _, err := l.Seal("p-1", []byte("x"))
	mustRefuse(t, err, "KEY_NOT_STORED")
	if err := l.Erase("p-1"); fault.Reason(err) != "KEY_NOT_DESTROYED" {
		t.Errorf("erasing: %v", err)
	}
	if err := os.Remove(filepath.Join(c.Dir, KeyFileName+".new")); err != nil {
		t.Fatal(err)
	}
	keep(t, l, "p-1", "x")
	var f keyFile
	b, err := os.ReadFile(filepath.Join(c.Dir, KeyFileName))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &f); err != nil || len(f.Keys) != 1 || len(f.Keys["p-1"]) != 32 {
		t.Errorf("the key file: %d keys, %v", len(f.Keys), err)
	}
}
