package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// Snapshots exports a ledger into a folder now and then, and keeps the newest.
type Snapshots struct {
	Ledger *Ledger
	Dir    string // made when it is not there
	Every  time.Duration
	Keep   int // how many; at least 1
}

// snapshotSuffix ends the name of an export, snapshotPart of one that is being written.
const snapshotSuffix, snapshotPart = ".zonule-export", ".zonule-export-part"

// Run makes a snapshot at once if the newest is older than Every, or there is none, and from then on every Every, until
// ctx ends. One that fails is logged and tried again at the next turn.
func (s Snapshots) Run(ctx context.Context) {
	for {
		var wait time.Duration // none yet: at once
		if newest, ok := s.newest(); ok {
			wait = min(max(s.Every-time.Since(newest), 0), s.Every)
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return
		}
		if path, sum, err := s.Make(ctx); err != nil && ctx.Err() == nil {
			s.Ledger.log.Error("a snapshot of the ledger could not be made", "folder", s.Dir, "error", err)
			select {
			case <-time.After(min(s.Every, 10*time.Minute)):
			case <-ctx.Done():
				return
			}
		} else if err == nil {
			s.Ledger.log.Info("a snapshot of the ledger was made", "file", path, "entries", sum.Head.Size, "bytes", sum.Bytes)
		}
	}
}

// Make writes one snapshot, reads it back whole, and then deletes the oldest beyond Keep.
func (s Snapshots) Make(ctx context.Context) (path string, sum Summary, err error) {
	if err := os.MkdirAll(s.Dir, 0o700); err != nil {
		return "", Summary{}, err
	}
	if err := s.room(); err != nil {
		return "", Summary{}, err
	}
	name := fmt.Sprintf("%s-%012d", s.Ledger.clock.Now().UTC().Format("20060102T150405.000Z"), s.Ledger.Head().Size)
	path = filepath.Join(s.Dir, name+snapshotSuffix)
	if sum, err = s.Ledger.ExportFile(ctx, path); err != nil {
		return "", Summary{}, err
	}
	old, err := s.list()
	if err != nil {
		return path, sum, err
	}
	for _, name := range old[:max(len(old)-max(s.Keep, 1), 0)] {
		err = errors.Join(err, os.Remove(filepath.Join(s.Dir, name)))
	}
	return path, sum, err
}

// room refuses a snapshot that could fill the disk, which may be the ledger's: it is about as large as the last one.
func (s Snapshots) room() error {
	names, err := s.list()
	if err != nil || len(names) == 0 {
		return err
	}
	last, err := os.Stat(filepath.Join(s.Dir, names[len(names)-1]))
	if err != nil {
		return err
	}
	free, _, err := freeSpace(s.Dir)
	if err == nil && free < s.Ledger.disk.reserve+2*uint64(last.Size()) {
		err = fault.New(codes.ResourceExhausted, "DISK_FULL", fmt.Sprintf("There is no room for a snapshot in %s: %d MB are free. Free some space there, or keep fewer.", s.Dir, free>>20))
	}
	return err
}

// list gives the names of the snapshots, oldest first: they begin with the time.
func (s Snapshots) list() (names []string, err error) {
	held, err := os.ReadDir(s.Dir)
	for _, f := range held {
		if strings.HasSuffix(f.Name(), snapshotSuffix) {
			names = append(names, f.Name())
		}
	}
	slices.Sort(names)
	return names, err
}

// newest says when the newest snapshot was written.
func (s Snapshots) newest() (time.Time, bool) {
	names, err := s.list()
	if err != nil || len(names) == 0 {
		return time.Time{}, false
	}
	info, err := os.Stat(filepath.Join(s.Dir, names[len(names)-1]))
	return info.ModTime(), err == nil
}

// ExportFile exports into a file that must not be there yet. The file gets its name only when it is whole, on disk, and
// was read back and verified.
func (l *Ledger) ExportFile(ctx context.Context, path string) (s Summary, err error) {
	if _, err := os.Lstat(path); err == nil {
		return Summary{}, fault.New(codes.AlreadyExists, "EXPORT_EXISTS", fmt.Sprintf("The file %s is there already. An export never writes over anything; choose another name.", path))
	}
	part := strings.TrimSuffix(path, snapshotSuffix) + snapshotPart
	f, err := os.OpenFile(part, os.O_CREATE|os.O_TRUNC|os.O_RDWR, 0o600)
	if err != nil {
		return Summary{}, notWritten(err)
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			_ = os.Remove(part) // a half-written file is of no use
		}
	}()
	if s, err = l.Export(ctx, f); err != nil {
		return Summary{}, err
	}
	if err := f.Sync(); err != nil {
		return Summary{}, notWritten(err)
	}
	if _, err := f.Seek(0, 0); err != nil {
		return Summary{}, notWritten(err)
	}
	again, err := VerifyExport(ctx, f)
	if err != nil || again.Digest != s.Digest {
		return Summary{}, fault.Wrap(err, codes.DataLoss, "EXPORT_NOT_VERIFIED", "The export was written but does not read back as it was. Try again, on another disk.")
	}
	if err := os.Rename(part, path); err != nil {
		return Summary{}, notWritten(err)
	}
	return s, syncFolder(filepath.Dir(path))
}
