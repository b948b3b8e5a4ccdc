package checkpoint

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Key is a site's own signing key.
type Key struct {
	note.Signer
	Verifier note.Verifier
	// VerifierKey is the public half as text, in the form note.NewVerifier takes.
	VerifierKey string
}

// KeyFile is the name of the file that holds a site's signing key, in its data folder.
const KeyFile = "site-key"

// NewKey makes a key and writes it to a file that only its owner may read; the file is on disk when this returns. It never
// replaces a file.
func NewKey(path, name string) (Key, error) {
	secret, _, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		return Key{}, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return Key{}, fmt.Errorf("the site's key file cannot be made: %w", err)
	}
	_, err = f.WriteString(secret + "\n")
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return Key{}, fmt.Errorf("the site's key file cannot be written: %w", err)
	}
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return Key{}, err
	}
	if err := errors.Join(folder.Sync(), folder.Close()); err != nil {
		return Key{}, err
	}
	return ParseKey(secret)
}

// ReadKey reads a key file; os.ErrNotExist when there is none.
func ReadKey(path string) (Key, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return Key{}, err
	}
	k, err := ParseKey(strings.TrimSpace(string(b)))
	if err != nil {
		return Key{}, fmt.Errorf("the site's key file %s is damaged (%w); put back a copy of it", path, err)
	}
	return k, nil
}

// ParseKey reads the text of a signing key and works out its public half.
func ParseKey(secret string) (Key, error) {
	signer, err := note.NewSigner(secret)
	if err != nil {
		return Key{}, err
	}
	parts := strings.SplitN(secret, "+", 5) // PRIVATE, KEY, the name, a hash, and base64, which may hold "+" itself
	seed, err := base64.StdEncoding.DecodeString(parts[len(parts)-1])
	if err != nil || len(seed) != 1+ed25519.SeedSize {
		return Key{}, errors.New("the key has the wrong length")
	}
	public, ok := ed25519.NewKeyFromSeed(seed[1:]).Public().(ed25519.PublicKey)
	if !ok {
		return Key{}, errors.New("the key is not an Ed25519 key")
	}
	text, err := note.NewEd25519VerifierKey(signer.Name(), public)
	if err != nil {
		return Key{}, err
	}
	verifier, err := note.NewVerifier(text)
	return Key{Signer: signer, Verifier: verifier, VerifierKey: text}, err
}
