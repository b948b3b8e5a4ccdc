package ledger

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// KeyFileName lies in the data folder, beside the store and never inside it: the store does not erase bytes when a row
// is deleted, so a key must lie where destroying it destroys it.
const KeyFileName = "person-keys.json"

const keyFileFormat = "zonule person keys 1"

// keyFile is the content of the key file, always rewritten whole.
type keyFile struct {
	Format string `json:"format"`
	Site   string `json:"site"`
	// MarkKey makes the marks of request fingerprints.
	MarkKey []byte `json:"mark_key"`
	// Keys holds a 256-bit key for each person whose data are kept.
	Keys map[string][]byte `json:"keys"`
	// Erased holds when each erased person's key was destroyed.
	Erased map[string]time.Time `json:"erased"`
}

// keyring holds the key file's content. Safe for use by several goroutines.
type keyring struct {
	path  string
	write func(path string, content []byte) error // replaceFile; another in tests of a failing disk
	mu    sync.Mutex
	file  keyFile
}

// openKeyring reads the key file, or makes one when there is none.
func openKeyring(dir, site string) (*keyring, error) {
	k := &keyring{path: filepath.Join(dir, KeyFileName), write: replaceFile}
	b, err := os.ReadFile(k.path)
	if errors.Is(err, fs.ErrNotExist) {
		return k, k.replace(keyFile{Format: keyFileFormat, Site: site, MarkKey: newKey(), Keys: map[string][]byte{}, Erased: map[string]time.Time{}})
	}
	if err != nil {
		return nil, fmt.Errorf("the key file %s cannot be read: %w", k.path, err)
	}
	if err := json.Unmarshal(b, &k.file); err != nil {
		return nil, fault.Wrap(err, codes.DataLoss, "KEY_FILE_DAMAGED", fmt.Sprintf("The key file %s is damaged. Without it personal data cannot be read. Put back a copy of it, or move it away to go on without the old personal data.", k.path))
	}
	if k.file.Format != keyFileFormat || k.file.Site != site {
		return nil, fault.New(codes.DataLoss, "KEY_FILE_DAMAGED", fmt.Sprintf("The key file %s is damaged, or another site's: it is of format %q and site %q, but %q and %q are wanted. Put back the file that belongs to this site.", k.path, k.file.Format, k.file.Site, keyFileFormat, site))
	}
	if err := os.Chmod(k.path, 0o600); err != nil {
		return nil, fmt.Errorf("the key file %s cannot be closed to other users: %w", k.path, err)
	}
	return k, nil
}

func newKey() []byte {
	key := make([]byte, 32)
	rand.Read(key) // never fails: it would end the program instead
	return key
}

// markKey gives the key for marks.
func (k *keyring) markKey() []byte {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.file.MarkKey
}

// key gives a person's key, or says that it was destroyed.
func (k *keyring) key(person string) (key []byte, erased bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	_, erased = k.file.Erased[person]
	return k.file.Keys[person], erased
}

// keyFor gives a person's key and makes one if there is none yet; it is on disk before this returns.
func (k *keyring) keyFor(person string) (key []byte, erased bool, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if _, gone := k.file.Erased[person]; gone {
		return nil, true, nil
	}
	if key := k.file.Keys[person]; key != nil {
		return key, false, nil
	}
	next := k.file
	next.Keys = maps.Clone(k.file.Keys)
	next.Keys[person] = newKey()
	if err := k.replace(next); err != nil {
		return nil, false, err
	}
	return next.Keys[person], false, nil
}

// destroy takes a person's key away for good, and renews the mark key, whose marks might be guessed at otherwise.
func (k *keyring) destroy(person string, at time.Time) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if _, gone := k.file.Erased[person]; gone {
		return nil
	}
	next := k.file
	next.Keys, next.Erased = maps.Clone(k.file.Keys), maps.Clone(k.file.Erased)
	delete(next.Keys, person)
	next.Erased[person] = at
	next.MarkKey = newKey()
	return k.replace(next)
}

// replace writes the whole file anew: to a temporary one, to disk, renamed, the folder to disk. It takes effect here
// only when all of that worked.
func (k *keyring) replace(next keyFile) error {
	b, err := json.Marshal(next)
	if err != nil {
		return err
	}
	if err := k.write(k.path, b); err != nil {
		return fmt.Errorf("the key file could not be written: %w", err)
	}
	if next.Keys == nil {
		next.Keys = map[string][]byte{}
	}
	if next.Erased == nil {
		next.Erased = map[string]time.Time{}
	}
	k.file = next
	return nil
}

func replaceFile(path string, content []byte) error {
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(temporary, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes the names in a folder last.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}

// KeyHolders says, from a key file as it lies on the disk, who has a key and who was erased.
func KeyHolders(path string) (keys map[string]bool, erased map[string]time.Time, err error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	var file keyFile
	if err := json.Unmarshal(b, &file); err != nil || file.Format != keyFileFormat {
		return nil, nil, fault.Wrap(err, codes.DataLoss, "KEY_FILE_DAMAGED", fmt.Sprintf("The key file %s cannot be read. Put back a copy of it.", path))
	}
	keys = map[string]bool{}
	for person := range file.Keys {
		keys[person] = true
	}
	return keys, file.Erased, nil
}

// erased gives whose keys were destroyed, and when.
func (k *keyring) erased() map[string]time.Time {
	k.mu.Lock()
	defer k.mu.Unlock()
	return maps.Clone(k.file.Erased)
}

// openBundle reads exported keys, if there are any, and makes sure that they belong to the export.
func openBundle(exported []byte, s Summary) (*keyFile, string, error) {
	if exported == nil {
		return nil, "", nil
	}
	var b keyBundle
	err := json.Unmarshal(exported, &b)
	if err == nil && (b.Format != keyBundleFormat || b.Persons.Format != keyFileFormat || b.Persons.Site != s.Site) {
		err = errors.New("another format or site")
	}
	if err == nil && s.VerifierKey != "" {
		var key checkpoint.Key
		if key, err = checkpoint.ParseKey(b.SiteKey); err == nil && key.VerifierKey != s.VerifierKey {
			err = errors.New("not the key that signed the export's checkpoint")
		}
	}
	if err != nil {
		return nil, "", fault.Wrap(err, codes.InvalidArgument, "NOT_THESE_KEYS", fmt.Sprintf("The keys given are damaged, or not those of site %q. Nothing was imported.", s.Site))
	}
	return &b.Persons, b.SiteKey, nil
}

// importKeys writes the key files of an imported ledger: the ones given, if any, without the keys of those who had been
// erased when the export was made.
func importKeys(dir, site string, copied *keyFile, siteKey string, erased map[string]time.Time) error {
	file := keyFile{Format: keyFileFormat, Site: site, MarkKey: newKey()}
	if copied != nil {
		file = *copied
	}
	if file.Keys == nil {
		file.Keys = map[string][]byte{}
	}
	if file.Erased == nil {
		file.Erased = map[string]time.Time{}
	}
	for person, at := range erased {
		delete(file.Keys, person)
		file.Erased[person] = at
	}
	b, err := json.Marshal(file)
	if err == nil && siteKey != "" {
		err = replaceFile(filepath.Join(dir, checkpoint.KeyFile), []byte(siteKey+"\n"))
	}
	return errors.Join(err, replaceFile(filepath.Join(dir, KeyFileName), b))
}
