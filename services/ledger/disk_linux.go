package ledger

import (
	"errors"
	"os"
	"syscall"
)

// freeSpace says how much room there is on the disk of a folder, for others than the superuser.
func freeSpace(dir string) (bytes uint64, readOnly bool, err error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, false, err
	}
	const readOnlyFlag = 1 // ST_RDONLY
	return s.Bavail * uint64(s.Bsize), s.Flags&readOnlyFlag != 0, nil
}

// allocate gives a file blocks for all of its size. A file system that cannot is none that can run out either, or there
// is nothing to be done about it.
func allocate(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	err = syscall.Fallocate(int(f.Fd()), 0, 0, info.Size())
	if errors.Is(err, syscall.EOPNOTSUPP) || errors.Is(err, syscall.ENOSYS) {
		return nil
	}
	return err
}

// flushData brings a file's content to disk, what was written through a memory map included.
func flushData(f *os.File) error { return syscall.Fdatasync(int(f.Fd())) }
