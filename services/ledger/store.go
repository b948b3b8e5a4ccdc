package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// storeFolder is where Badger lives within the data folder.
const storeFolder = "ledger"

// What an encrypted store keeps of its tables in memory, decrypted.
const (
	indexCacheBytes = 16 << 20
	blockCacheBytes = 16 << 20
)

// openStore opens Badger: no commit synced (disk does that), no conflict detection (there is one writer), no versions kept, no
// compression (so no block cache either, unless it is encrypted), and small tables, for a site's ledger is small and its memory should be too.
// Badger's own checksum modes stay off: they turn a damaged row into a missing one. Ours name it.
func openStore(c Config) (db *badger.DB, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fault.New(codes.DataLoss, "STORE_DAMAGED", fmt.Sprintf("The ledger's store cannot be opened; its files are damaged (%v). Restore it from a copy.", p))
		}
	}()
	dir := filepath.Join(c.Dir, storeFolder)
	if err := expectStore(c.Dir); err != nil {
		return nil, err
	}
	lost, err := lostFingerprint(dir)
	if err != nil {
		return nil, err
	}
	if !lost { // else Badger, which keeps a proof of its key, finds out
		if err := CheckStoreKey(dir, c.StoreKey); err != nil {
			return nil, err
		}
	}
	if err := roomToOpen(c); err != nil {
		return nil, err
	}
	if err := settleLogs(dir); err != nil {
		return nil, unopened(err)
	}
	ill, err := inspectStore(c)
	if err != nil {
		return nil, err
	}
	o := badger.DefaultOptions(dir).
		WithSyncWrites(false).
		WithDetectConflicts(false).
		WithNumVersionsToKeep(1).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithMemTableSize(32 << 20).
		WithNumMemtables(3).
		WithValueLogFileSize(32 << 20).
		WithMetricsEnabled(false).
		WithLogger(storeLog{c.Logger})
	if len(c.StoreKey) > 0 {
		o = o.WithEncryptionKey(c.StoreKey.For("ledger store")).WithIndexCacheSize(indexCacheBytes).WithBlockCacheSize(blockCacheBytes)
	}
	if len(ill) > 0 { // Badger must not merge what is damaged
		o = o.WithNumCompactors(0).WithNumLevelZeroTablesStall(1 << 20)
	}
	db, err = badger.Open(o)
	if errors.Is(err, badger.ErrEncryptionKeyMismatch) {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "WRONG_STORE_KEY", "The ledger's store is not encrypted under the key given. Give the right key file, or none if it is not encrypted. Nothing was changed.")
	}
	if err != nil && strings.Contains(err.Error(), "directory lock") {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "LEDGER_IN_USE", "The ledger in this data folder is in use by another program. Stop that program first, or use another folder.")
	}
	if err != nil {
		return nil, unopened(err)
	}
	if lost && len(c.StoreKey) > 0 {
		err = replaceFile(fingerprintFile(dir), []byte(c.StoreKey.fingerprint()+"\n"))
	}
	return db, err
}

// unopened words why the store's files cannot be opened.
func unopened(err error) error {
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) || errors.Is(err, syscall.ENOSPC) || strings.Contains(err.Error(), "read-only file system") {
		return fault.Wrap(err, codes.Unavailable, "STORE_NOT_WRITABLE", "The ledger's store cannot be opened for writing: the disk is full or can only be read, or its files are another user's. Nothing was changed. See to that and start again.")
	}
	return fault.Wrap(err, codes.DataLoss, "STORE_DAMAGED", "The ledger's store cannot be opened. Look at the log; if its files are damaged, restore it from a copy.")
}

// roomToOpen refuses to open a store where Badger, opening it, could run out of room and end the process.
func roomToOpen(c Config) error {
	free, readOnly, err := freeSpace(c.Dir)
	if err == nil && readOnly {
		return fault.New(codes.Unavailable, "DISK_READ_ONLY", fmt.Sprintf("The disk of the data folder %s can only be read. Nothing was opened or changed. Make the disk writable, or copy the folder elsewhere.", c.Dir))
	}
	if err == nil && free < c.Reserve/8 {
		return fault.New(codes.ResourceExhausted, "DISK_FULL", fmt.Sprintf("The disk of the data folder %s is full: %d MB are free, and opening the ledger may take %d MB. Nothing was opened or changed. Free some space and start again.", c.Dir, free>>20, c.Reserve>>23))
	}
	return nil
}

// storeLog passes Badger's warnings on and leaves its chatter out.
type storeLog struct{ log *slog.Logger }

func (s storeLog) Errorf(format string, v ...any) {
	s.log.Error("ledger store: " + strings.TrimSpace(fmt.Sprintf(format, v...)))
}

func (s storeLog) Warningf(format string, v ...any) {
	s.log.Warn("ledger store: " + strings.TrimSpace(fmt.Sprintf(format, v...)))
}

func (storeLog) Infof(string, ...any) {}

func (storeLog) Debugf(string, ...any) {}
