package ledger

import (
	"fmt"
	"log/slog"
	"strings"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// storeFolder is where Badger lives within the data folder.
const storeFolder = "ledger"

// openStore opens Badger: every commit synced, no conflict detection (there is one writer), no versions kept, no
// compression (so no block cache either), and small tables, for a site's ledger is small and its memory should be too.
// Badger's own checksum modes stay off: they turn a damaged row into a missing one. Ours name it.
func openStore(dir string, log *slog.Logger) (db *badger.DB, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fault.New(codes.DataLoss, "STORE_DAMAGED", fmt.Sprintf("The ledger's store cannot be opened; its files are damaged (%v). Restore it from a copy.", p))
		}
	}()
	o := badger.DefaultOptions(dir).
		WithSyncWrites(true).
		WithDetectConflicts(false).
		WithNumVersionsToKeep(1).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithMemTableSize(32 << 20).
		WithNumMemtables(3).
		WithValueLogFileSize(32 << 20).
		WithMetricsEnabled(false).
		WithLogger(storeLog{log})
	db, err = badger.Open(o)
	if err != nil && strings.Contains(err.Error(), "directory lock") {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "LEDGER_IN_USE", "The ledger in this data folder is in use by another program. Stop that program first, or use another folder.")
	}
	if err != nil {
		return nil, fault.Wrap(err, codes.DataLoss, "STORE_DAMAGED", "The ledger's store cannot be opened. Look at the log; if its files are damaged, restore it from a copy.")
	}
	return db, nil
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
