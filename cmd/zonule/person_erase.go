package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"google.golang.org/protobuf/encoding/protowire"

	"zonule/services/fault"
	"zonule/services/ledger"
)

type personEraseCmd struct {
	stopped
	ID  string `arg:"" help:"The person's id. The id, roles and drills stay in the ledger; what is erased is the name and whatever else is kept under the person's key."`
	Yes bool   `help:"Do it. Without this flag the command only says what it would do: erasing cannot be undone."`
}

// Run destroys the person's key and shows, by looking, what that came to.
func (c *personEraseCmd) Run(ctx context.Context, sh *shell) error {
	l, err := c.open(ctx, sh)
	if err != nil {
		return err
	}
	closed := false
	defer func() {
		if !closed {
			_ = l.Close()
		}
	}()
	plain, err := l.Unseal(c.ID)
	gone := fault.Reason(err) == "PERSON_ERASED"
	if err != nil && !gone {
		return err
	}
	secrets := texts(plain)
	if !gone && !c.Yes {
		fmt.Fprintf(sh.out, "would erase what is kept about %s (%d bytes under a key of their own), for good. Say --yes to do it.\n", c.ID, len(plain))
		return nil
	}
	head := l.Head()
	proofs, err := proofsAbout(ctx, l, c.ID)
	if err != nil {
		return err
	}
	if err := l.Erase(c.ID); err != nil {
		return err
	}
	e := erasure{sh: sh, l: l, id: c.ID}
	e.keyGone(filepath.Join(c.Data, ledger.KeyFileName))
	e.unreadable()
	e.proofs(head, proofs)
	checked, err := checkLedger(ctx, sh, l)
	if err != nil {
		return err
	}
	closed = true
	if err := l.Close(); err != nil {
		return err
	}
	if err := e.grep(c.Data, secrets); err != nil {
		return err
	}
	fmt.Fprintln(sh.out, "copies of person-keys.json made before still hold the key, wherever they are: destroy them too.")
	if e.failed || !checked {
		return errSaid
	}
	return nil
}

// erasure prints what was looked at and what was found.
type erasure struct {
	sh     *shell
	l      *ledger.Ledger
	id     string
	failed bool
}

func (e *erasure) say(ok bool, format string, a ...any) {
	mark := "ok  "
	if !ok {
		mark, e.failed = "BAD ", true
	}
	fmt.Fprintf(e.sh.out, mark+format+"\n", a...)
}

// keyGone reads the key file anew.
func (e *erasure) keyGone(path string) {
	keys, erased, err := ledger.KeyHolders(path)
	_, has := keys[e.id]
	at, marked := erased[e.id]
	e.say(err == nil && !has && marked, "key: %s holds no key of %s, and notes that it was destroyed at %s", path, e.id, at.Format("2006-01-02 15:04:05 MST"))
}

func (e *erasure) unreadable() {
	_, err := e.l.Unseal(e.id)
	e.say(fault.Reason(err) == "PERSON_ERASED", "ciphertext: the ledger answers that the person was erased")
}

// proofs makes sure that what was proved before is proved by the same words now, and holds.
func (e *erasure) proofs(head ledger.Head, before map[uint64]string) {
	holds := e.l.Head() == head
	for sequence, text := range before {
		again, err := proofOf(context.Background(), e.l, sequence, head.Size)
		p, checkErr := ledger.CheckProof([]byte(text))
		holds = holds && err == nil && checkErr == nil && again == text && p.Root == head.Root
	}
	e.say(holds, "proofs: the head is the same as before, and %d proofs of the person's entries still hold under it", len(before))
}

// grep looks for every text that was kept about the person in every file of the data folder.
func (e *erasure) grep(dir string, secrets [][]byte) error {
	files, found := 0, ""
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		files++
		for _, secret := range secrets {
			has, err := holds(path, secret)
			if err != nil {
				return err
			}
			if has {
				found += " " + path
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if found != "" {
		e.say(false, "files: what was kept about %s stands in plain in:%s", e.id, found)
		return nil
	}
	e.say(true, "files: none of the %d texts that were kept about %s is found in the %d files of %s", len(secrets), e.id, files, dir)
	return nil
}

// holds looks for bytes in a file, piece by piece.
func holds(path string, want []byte) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer func() { _ = f.Close() }() // it was only read
	buffer := make([]byte, 1<<20)
	kept := 0
	for {
		n, err := f.Read(buffer[kept:])
		if bytes.Contains(buffer[:kept+n], want) {
			return true, nil
		}
		if errors.Is(err, io.EOF) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		kept = copy(buffer, buffer[max(kept+n-len(want)+1, 0):kept+n])
	}
}

// texts gives the texts of an encoded message, of three bytes and more.
func texts(encoded []byte) (found [][]byte) {
	for b := encoded; len(b) > 0; {
		_, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return append(found, encoded) // not a message: look for all of it
		}
		b = b[n:]
		if kind == protowire.BytesType {
			value, n := protowire.ConsumeBytes(b)
			if n < 0 {
				return append(found, encoded)
			}
			if len(value) >= 3 {
				found = append(found, value)
			}
			b = b[n:]
			continue
		}
		n = protowire.ConsumeFieldValue(1, kind, b)
		if n < 0 {
			return append(found, encoded)
		}
		b = b[n:]
	}
	return found
}

// proofsAbout proves the entries about a person, at most twenty.
func proofsAbout(ctx context.Context, l *ledger.Ledger, id string) (map[uint64]string, error) {
	proofs := map[uint64]string{}
	for next, size := uint64(1), l.Head().Size; next <= size && len(proofs) < 20; {
		run, err := l.Entries(ctx, next, 256)
		if err != nil {
			return nil, err
		}
		for _, e := range run {
			if e.GetSubjectId() == id && len(proofs) < 20 {
				if proofs[e.GetSequence()], err = proofOf(ctx, l, e.GetSequence(), size); err != nil {
					return nil, err
				}
			}
		}
		next += uint64(len(run))
	}
	return proofs, nil
}

func proofOf(ctx context.Context, l *ledger.Ledger, sequence, size uint64) (string, error) {
	p, err := l.ProveInclusion(sequence, size)
	if err != nil {
		return "", err
	}
	run, err := l.Stored(ctx, sequence, 1)
	if err != nil {
		return "", err
	}
	return p.Text(l.Site(), run[0].Bytes), nil
}
