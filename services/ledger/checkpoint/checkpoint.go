// Package checkpoint writes and reads what a site signs about its ledger: a C2SP tlog-checkpoint, which is a C2SP signed
// note (golang.org/x/mod/sumdb/note) whose text is
//
//	zonule/<programme>/<site>
//	<number of entries, decimal>
//	<RFC 6962 root hash, base64>
//
// A cosignature is one more Ed25519 signature under the same text, by another site's key. Whoever has the verifier keys
// needs nothing of ours to check a checkpoint: note.Open checks the signatures, and tlog.CheckRecord or tlog.CheckTree
// what the root hash covers.
package checkpoint

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is a site's statement about its ledger.
type Checkpoint struct {
	Origin string // which ledger; see Origin
	Size   uint64 // how many entries
	Root   tlog.Hash
}

// Origin names a site's ledger, and the site's key. Bytes of the ids other than letters, digits, "-", "_" and "." become
// "%" and two hexadecimal digits.
func Origin(programme, site string) string {
	return "zonule/" + escape(programme) + "/" + escape(site)
}

func escape(id string) string {
	var b strings.Builder
	for i := range len(id) {
		switch c := id[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_', c == '.':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
}

// Format gives the text that is signed.
func Format(c Checkpoint) string {
	return fmt.Sprintf("%s\n%d\n%s\n", c.Origin, c.Size, base64.StdEncoding.EncodeToString(c.Root[:]))
}

var errText = errors.New("the text is not that of a checkpoint: an origin, a number of entries and a root hash, each on a line")

// Parse is the inverse of Format. It accepts no text that Format does not give.
func Parse(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[3] != "" || lines[0] == "" {
		return Checkpoint{}, errText
	}
	size, err := strconv.ParseUint(lines[1], 10, 63)
	if err != nil {
		return Checkpoint{}, errText
	}
	root, err := base64.StdEncoding.DecodeString(lines[2])
	if err != nil || len(root) != tlog.HashSize {
		return Checkpoint{}, errText
	}
	c := Checkpoint{Origin: lines[0], Size: size, Root: tlog.Hash(root)}
	if Format(c) != text {
		return Checkpoint{}, errText
	}
	return c, nil
}

// Open verifies the signature of the ledger's owner on a signed checkpoint, and that it is about the owner's ledger: the
// owner's key is named as the ledger is.
func Open(signed []byte, owner note.Verifier) (Checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(owner))
	if err != nil {
		return Checkpoint{}, fmt.Errorf("the checkpoint is not signed by %s: %w", owner.Name(), err)
	}
	c, err := Parse(n.Text)
	if err == nil && c.Origin != owner.Name() {
		err = fmt.Errorf("the checkpoint is about %q, not about the ledger of %q, who signed it", c.Origin, owner.Name())
	}
	return c, err
}

// Cosign adds a signature to a signed checkpoint. The caller has verified what it says.
func Cosign(signed []byte, owner note.Verifier, by note.Signer) ([]byte, error) {
	n, err := note.Open(signed, note.VerifierList(owner))
	if err != nil {
		return nil, err
	}
	return note.Sign(n, by)
}

// Merge puts the signatures of known keys on two copies of one signed checkpoint together, the owner's first. Signatures
// of other keys are left out.
func Merge(a, b []byte, owner note.Verifier, cosigners ...note.Verifier) ([]byte, error) {
	known := note.VerifierList(append([]note.Verifier{owner}, cosigners...)...)
	first, err := note.Open(a, known)
	if err != nil {
		return nil, err
	}
	second, err := note.Open(b, known)
	if err != nil {
		return nil, err
	}
	if first.Text != second.Text {
		return nil, errors.New("two different checkpoints cannot be put together")
	}
	merged := &note.Note{Text: first.Text}
	seen := map[string]bool{}
	for _, ownerFirst := range []bool{true, false} {
		for _, s := range append(first.Sigs, second.Sigs...) {
			if key := fmt.Sprintf("%s+%08x", s.Name, s.Hash); (s.Name == owner.Name()) == ownerFirst && !seen[key] {
				seen[key] = true
				merged.Sigs = append(merged.Sigs, s)
			}
		}
	}
	return note.Sign(merged)
}

// Signers names who signed: the verified signatures of the keys given, in the order of the note.
func Signers(signed []byte, known ...note.Verifier) ([]string, error) {
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		return nil, err
	}
	var names []string
	for _, s := range n.Sigs {
		names = append(names, s.Name)
	}
	return names, nil
}
