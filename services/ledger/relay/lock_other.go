//go:build !unix

package relay

import "os"

// lockFile does nothing on this system; the ledger's own lock is then the only one.
func lockFile(*os.File) error { return nil }
