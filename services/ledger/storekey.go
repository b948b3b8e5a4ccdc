package ledger

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// StoreKey encrypts everything a site keeps on its disk: the ledger's store, and with a key derived from it the copy in
// the embedded NATS. It is 32 bytes, kept in a file that does not lie in the data folder. Whoever has lost it has lost
// the data.
type StoreKey []byte

const storeKeyLine = "zonule store key 1 "

// NewStoreKey makes a key and writes it to a file that must not be there yet.
func NewStoreKey(path string) (StoreKey, error) {
	key := newKey()
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "KEY_FILE_NOT_MADE", fmt.Sprintf("The key file %s cannot be made. A key file that is there is never written over; choose another name.", path))
	}
	_, err = f.WriteString(storeKeyLine + hex.EncodeToString(key) + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, err
	}
	return key, syncFolder(filepath.Dir(path))
}

// ReadStoreKey reads a key file.
func ReadStoreKey(path string) (StoreKey, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "KEY_FILE_MISSING", fmt.Sprintf("The key file %s cannot be read. Nothing was opened or changed.", path))
	}
	key, err := hex.DecodeString(strings.TrimPrefix(strings.TrimSpace(string(b)), storeKeyLine))
	if err != nil || len(key) != 32 {
		return nil, fault.New(codes.FailedPrecondition, "NOT_A_KEY_FILE", fmt.Sprintf("The file %s is not a key file: it should hold one line, %q and 64 hexadecimal digits. Nothing was opened or changed.", path, strings.TrimSpace(storeKeyLine)))
	}
	return key, nil
}

// For gives the key for one use, so that no two programs encrypt with the same one. No key gives none.
func (k StoreKey) For(use string) []byte {
	if len(k) == 0 {
		return nil
	}
	mac := hmac.New(sha256.New, k)
	mac.Write([]byte("zonule " + use))
	return mac.Sum(nil)
}

// fingerprint tells keys apart and nothing else about them.
func (k StoreKey) fingerprint() string {
	if len(k) == 0 {
		return "not encrypted"
	}
	return hex.EncodeToString(k.For("fingerprint")[:8])
}

// CheckStoreKey compares a key with the fingerprint kept beside a folder whose files it is to open, before anything in
// that folder is touched: a program that opens with a wrong key may see nothing there and write over it. A folder with
// files and no fingerprint was made without a key. For a folder that is empty or missing the fingerprint is written.
func CheckStoreKey(folder string, key StoreKey) error {
	path := fingerprintFile(folder)
	held, err := holdsFiles(folder)
	if err != nil {
		return err
	}
	want := "not encrypted"
	b, err := os.ReadFile(path)
	switch {
	case err == nil:
		want = strings.TrimSpace(string(b))
	case !errors.Is(err, fs.ErrNotExist):
		return fault.Wrap(err, codes.Unavailable, "FINGERPRINT_UNREADABLE", fmt.Sprintf("The fingerprint of the key, %s, cannot be read. Nothing was opened or changed.", path))
	case !held && len(key) == 0:
		return nil
	case !held:
		return replaceFile(path, []byte(key.fingerprint()+"\n"))
	}
	if got := key.fingerprint(); got != want {
		return wrongKey(folder, want, got)
	}
	return nil
}

func fingerprintFile(folder string) string { return folder + ".key-fingerprint" }

// lostFingerprint says whether a folder holds files but has no fingerprint beside it.
func lostFingerprint(folder string) (bool, error) {
	held, err := holdsFiles(folder)
	if err != nil || !held {
		return false, err
	}
	_, err = os.Stat(fingerprintFile(folder))
	return errors.Is(err, fs.ErrNotExist), nil
}

// wrongKey says what is the matter with a key.
func wrongKey(folder, want, got string) error {
	sentence := fmt.Sprintf("The files in %s are encrypted under another key: its fingerprint is %s, and the key given has %s. Give the right key file. Nothing was opened or changed.", folder, want, got)
	switch {
	case len(got) != 16:
		sentence = fmt.Sprintf("The files in %s are encrypted under the key with the fingerprint %s. Give its key file. Nothing was opened or changed.", folder, want)
	case len(want) != 16:
		sentence = fmt.Sprintf("The files in %s are not encrypted, but a key was given. Leave the key out; or export the ledger and import it into a new folder with the key. Nothing was opened or changed.", folder)
	}
	return fault.New(codes.FailedPrecondition, "WRONG_STORE_KEY", sentence, "want", want, "got", got)
}

// holdsFiles says whether a folder is there and holds anything.
func holdsFiles(folder string) (bool, error) {
	held, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fault.Wrap(err, codes.Unavailable, "FOLDER_UNREADABLE", fmt.Sprintf("The folder %s cannot be read. Nothing was opened or changed.", folder))
	}
	return len(held) > 0, nil
}

// expectStore refuses to begin a new store where there was one: the key file beside it outlived it.
func expectStore(dir string) error {
	held, err := holdsFiles(filepath.Join(dir, storeFolder))
	if err != nil || held {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, KeyFileName)); err == nil {
		return fault.New(codes.DataLoss, "STORE_MISSING", fmt.Sprintf("The folder %s holds a site's personal keys, but its ledger is gone. No new one is begun over it. Put the folder %q back, or import an export into an empty folder.", dir, storeFolder))
	}
	return nil
}
