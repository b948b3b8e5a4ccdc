package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/table"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// tableSuffix ends the names of Badger's tables.
const tableSuffix = ".sst"

// inspectStore reads the files of a store that is to be opened, before Badger does. Badger deletes tables that its
// manifest does not name, meets some damage with a panic in a goroutine of its own, and merges damaged blocks into new
// tables. So a manifest that is missing or damaged is refused, tables that a torn one does not name are set aside first,
// a table whose index is damaged is refused by its name, and tables with damaged blocks are given, for the store to be
// opened with care. The tables of an encrypted store cannot be read without Badger and are left to it.
func inspectStore(c Config) (ill []string, err error) {
	dir := filepath.Join(c.Dir, storeFolder)
	tables, err := filepath.Glob(filepath.Join(dir, "*"+tableSuffix))
	if err != nil {
		return nil, err
	}
	named, torn, err := readManifest(dir, len(tables) > 0)
	if err != nil {
		return nil, err
	}
	for _, path := range tables {
		name := filepath.Base(path)
		id, ok := table.ParseFileID(name)
		key, known := named[id]
		if !ok || !known {
			if torn {
				err = errors.Join(err, setAside(c, path))
			}
			continue
		}
		if key != 0 {
			continue
		}
		switch index, block := inspectTable(path, id); {
		case index != nil:
			return nil, fault.Wrap(index, codes.DataLoss, "STORE_DAMAGED", fmt.Sprintf("The file %s of the ledger's store is damaged, and so that nothing in it can be found. Nothing was changed. Import a snapshot or an export into an empty folder, or put back a copy of the file.", path), "file", name)
		case block != nil:
			ill = append(ill, name)
			c.Logger.Error("a file of the ledger's store is damaged. What is read from it is verified piece by piece, and put right from the copy where there is one; the store is no longer tidied up. Export the ledger, import it into an empty folder, and use that", "file", path, "error", block)
		}
	}
	return ill, err
}

// readManifest gives the tables that the store's manifest names, each with the number of the key it is encrypted under or
// 0, and whether its end is torn.
func readManifest(dir string, tables bool) (named map[uint64]uint64, torn bool, err error) {
	path := filepath.Join(dir, badger.ManifestFilename)
	damaged := func(cause error) error {
		return fault.Wrap(cause, codes.DataLoss, "STORE_DAMAGED", fmt.Sprintf("The file %s, which says what the ledger's store consists of, is missing or damaged. Nothing was changed. Put back a copy of it, or import a snapshot or an export into an empty folder.", path), "file", badger.ManifestFilename)
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		if tables {
			return nil, false, damaged(err)
		}
		return nil, false, nil
	}
	if err != nil {
		return nil, false, unopened(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, false, unopened(err)
	}
	if info.Size() == 0 && !tables { // a store that was just being made
		return nil, false, nil
	}
	manifest, end, err := badger.ReplayManifestFile(f, 0, badger.DefaultOptions(dir).WithLogger(nil))
	if err != nil {
		return nil, false, damaged(err)
	}
	named = map[uint64]uint64{}
	for id, t := range manifest.Tables {
		named[id] = t.KeyID
	}
	return named, end < info.Size(), nil
}

// setAside keeps a table that Badger is going to delete, under another name beside the store.
func setAside(c Config, path string) error {
	folder := filepath.Join(c.Dir, "set-aside")
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	to := filepath.Join(folder, time.Now().UTC().Format("20060102T150405.000000000Z-")+filepath.Base(path))
	c.Logger.Error("the end of the store's manifest is torn, and a table it does not name was set aside", "file", path, "kept", to)
	return os.Link(path, to)
}

// inspectTable verifies a table's index and every block, in this goroutine, where a panic can be met.
func inspectTable(path string, id uint64) (index, block error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return err, nil
	}
	t, index := openTable(content, id)
	if index != nil {
		return index, nil
	}
	defer func() {
		if p := recover(); p != nil {
			block = fmt.Errorf("%v", p)
		}
	}()
	return nil, t.VerifyChecksum()
}

func openTable(content []byte, id uint64) (t *table.Table, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.New(strings.SplitN(fmt.Sprint(p), "\n", 2)[0])
		}
	}()
	return table.OpenInMemoryTable(content, id, &table.Options{})
}
