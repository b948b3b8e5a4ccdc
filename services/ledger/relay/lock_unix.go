//go:build unix

package relay

import (
	"os"
	"syscall"
)

// lockFile locks a file for this process; the system takes the lock back when the process ends, however it ends.
func lockFile(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) }
