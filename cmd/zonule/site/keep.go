package site

import (
	"context"
	"path/filepath"
	"sync"
	"time"

	"zonule/services/ledger"
)

// SnapshotFolder is the folder of the data folder that snapshots go to unless another is named.
const SnapshotFolder = "snapshots"

// Snapshots says when exports are made, and how many are kept. None when Every is 0.
type Snapshots struct {
	Every time.Duration
	Keep  int
	Dir   string // SnapshotFolder of the data folder when empty
}

// openKeeping looks after the ledger in the background: it reads all of it once, putting right what it can, and makes
// snapshots.
func (s *Site) openKeeping(_ context.Context, c Config) error {
	ctx, stop := context.WithCancel(context.Background())
	var all sync.WaitGroup
	all.Go(func() {
		entries, hashes, err := s.Ledger.Scrub(ctx)
		switch {
		case err != nil && ctx.Err() == nil:
			c.Log.Error("the ledger is damaged and could not be put right; run zonule ledger check", "error", err)
		case entries+hashes > 0:
			c.Log.Warn("the ledger was damaged and was put right", "entries", entries, "tree_hashes", hashes)
		}
	})
	if c.Snapshots.Every > 0 {
		dir := c.Snapshots.Dir
		if dir == "" {
			dir = filepath.Join(c.Data, SnapshotFolder)
		}
		snapshots := ledger.Snapshots{Ledger: s.Ledger, Dir: dir, Every: c.Snapshots.Every, Keep: c.Snapshots.Keep}
		all.Go(func() { snapshots.Run(ctx) })
	}
	s.onClose(func() error { stop(); all.Wait(); return nil })
	return nil
}
