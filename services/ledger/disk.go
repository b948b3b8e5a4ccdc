package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// DefaultReserve is how much of the disk is left free. Badger writes its files through memory maps, where a full disk
// does not fail a call but kills the process; so the ledger refuses commands while there would still be room for all
// that Badger may have to write for the commands before them: a table for each memory table, and one compaction of the
// first level.
const DefaultReserve = 512 << 20

const memSuffix = ".mem"

// disk is the ledger's part in keeping Badger's log: Badger writes it, and this makes it last. Badger's own way of
// syncing writes also syncs a second, empty file at each commit; this syncs the one that the commit went to. It belongs
// to the writer.
type disk struct {
	dir     string // the store's folder
	reserve uint64
	number  int      // of the newest log
	log     *os.File // the newest log, a second time
	held    bool     // its blocks are allocated
	// free and flush are the system's; others in tests of a failing disk.
	free  func(dir string) (bytes uint64, readOnly bool, err error)
	flush func(*os.File) error
}

// openDisk finds the newest log of a store that was just opened.
func openDisk(dir string, reserve uint64) (*disk, error) {
	logs, err := logNumbers(dir)
	if err != nil {
		return nil, err
	}
	if len(logs) == 0 {
		return nil, fault.New(codes.Internal, "NO_LOG", "The ledger's store has no log file. This is a mistake in the program.")
	}
	d := &disk{dir: dir, reserve: reserve, number: logs[len(logs)-1], free: freeSpace, flush: flushData}
	if err := d.take(); err != nil {
		return nil, err
	}
	return d, syncFolder(dir)
}

// logNumbers gives the numbers of Badger's logs, in order.
func logNumbers(dir string) (numbers []int, err error) {
	files, err := os.ReadDir(dir) // sorted by name, and the names are of one length
	for _, f := range files {
		if name, ok := strings.CutSuffix(f.Name(), memSuffix); ok {
			n, err := strconv.Atoi(name)
			if err != nil {
				return nil, err
			}
			numbers = append(numbers, n)
		}
	}
	return numbers, err
}

func (d *disk) path(number int) string {
	return filepath.Join(d.dir, fmt.Sprintf("%05d%s", number, memSuffix))
}

// take opens the log of the present number.
func (d *disk) take() error {
	f, err := os.OpenFile(d.path(d.number), os.O_RDWR, 0)
	if err != nil {
		return err
	}
	d.close()
	d.log, d.held = f, false
	d.hold()
	return nil
}

// hold allocates the log's blocks, so that writing into it cannot run out of room.
func (d *disk) hold() {
	if !d.held {
		d.held = allocate(d.log) == nil
	}
}

// ready says whether there is room for another commit.
func (d *disk) ready() error {
	free, readOnly, err := d.free(d.dir)
	switch {
	case err != nil:
		return fault.Wrap(err, codes.Unavailable, "DISK_UNREACHABLE", "The disk of the ledger cannot be asked for its free space. Nothing was recorded. What was recorded before can be read. Look at the disk of the site.")
	case readOnly:
		return fault.New(codes.Unavailable, "DISK_READ_ONLY", "The disk of the ledger can only be read. Nothing was recorded. What was recorded before can be read. Make the disk writable, and recording goes on.")
	case free < d.reserve:
		return fault.New(codes.ResourceExhausted, "DISK_FULL", fmt.Sprintf("The disk of the ledger is full: %d MB are free, and %d MB are kept in reserve. Nothing was recorded. What was recorded before can be read. Free some space, and recording goes on.", free>>20, d.reserve>>20),
			"free_mb", strconv.FormatUint(free>>20, 10), "reserve_mb", strconv.FormatUint(d.reserve>>20, 10))
	}
	d.hold()
	return nil
}

// sync makes the last commit last. Badger goes on to a new log when one is full, before it writes a commit and never in
// the middle of one, so what was just written is in the newest; what is in the ones before was synced with its commit.
func (d *disk) sync() error {
	for {
		if _, err := os.Lstat(d.path(d.number + 1)); errors.Is(err, os.ErrNotExist) {
			break
		} else if err != nil {
			return err
		}
		d.number++
		if err := d.take(); err != nil {
			return err
		}
		if err := syncFolder(d.dir); err != nil {
			return err
		}
	}
	return d.flush(d.log)
}

func (d *disk) close() {
	if d != nil && d.log != nil {
		_ = d.log.Close() // it was synced, or its commit failed
		d.log = nil
	}
}

// settleLogs syncs the logs that a process left which did not close the store: what is in them was read back into
// answers, whether or not it had been synced.
func settleLogs(dir string) error {
	logs, err := logNumbers(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	for _, number := range logs {
		f, openErr := os.OpenFile(filepath.Join(dir, fmt.Sprintf("%05d%s", number, memSuffix)), os.O_RDWR, 0)
		if openErr != nil {
			return openErr
		}
		err = errors.Join(err, f.Sync(), f.Close())
	}
	return err
}
