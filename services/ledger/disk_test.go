package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// tmpfs mounts a small disk, or skips the test where that is not allowed.
func tmpfs(t *testing.T, megabytes int) string {
	t.Helper()
	if runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("mounting a small disk needs root on Linux")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm", megabytes), "zonule-test", dir).CombinedOutput(); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v %s", err, out)
		}
	})
	return dir
}

// eat fills a disk until only so much is free, and gives the file that does it.
func eat(t *testing.T, dir string, leave uint64) string {
	t.Helper()
	path := filepath.Join(dir, "filler")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for {
		free, _, err := freeSpace(dir)
		if err != nil {
			t.Fatal(err)
		}
		if free <= leave {
			return path
		}
		if _, err := f.Write(make([]byte, min(free-leave, 1<<20))); err != nil {
			return path // full to the last byte
		}
	}
}

// TestFullDisk fills a small disk under a running ledger: commands are refused with a sentence, everything recorded can
// be read, and recording goes on when there is room again. It never ends the process: that it runs to its end is the
// test.
func TestFullDisk(t *testing.T) {
	dir := tmpfs(t, 320)
	cfg := config(filepath.Join(dir, "home"))
	cfg.Reserve = 64 << 20
	l := open(t, cfg)
	for i := range 10 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), adds("a", 1)))
	}
	for round, leave := range []uint64{32 << 20, 1 << 20, 0} {
		filler := eat(t, dir, leave)
		_, err := l.Append(context.Background(), does(fmt.Sprint("full-", round), adds("a", 1)))
		mustRefuse(t, err, "DISK_FULL")
		if fault.Code(err) != codes.ResourceExhausted {
			t.Errorf("code %v", fault.Code(err))
		}
		if err := l.SetCursor("copy", 3); fault.Reason(err) != "DISK_FULL" {
			t.Errorf("a cursor: %v", err)
		}
		if r := mustAppend(t, l, does("q-3", adds("a", 1))); !r.Repeated { // needs no room
			t.Error("a request recorded before was recorded again")
		}
		if got := sumOf(t, l, "a"); got != int64(10+round) {
			t.Errorf("sum %d, want %d", got, 10+round)
		}
		mustBeClean(t, l)
		if err := os.Remove(filler); err != nil {
			t.Fatal(err)
		}
		mustAppend(t, l, does(fmt.Sprint("full-", round), adds("a", 1)))
	}
	mustBeClean(t, l)
	l.Close()

	filler := eat(t, dir, 32<<20) // below the reserve, but room enough to open: it reads, and refuses commands
	l = open(t, cfg)
	if got := sumOf(t, l, "a"); got != 13 {
		t.Errorf("sum %d, want 13", got)
	}
	_, err := l.Append(context.Background(), does("full-9", adds("a", 1)))
	mustRefuse(t, err, "DISK_FULL")
	l.Close()
	eat(t, dir, 1<<20)
	_, err = Open(context.Background(), cfg)
	mustRefuse(t, err, "DISK_FULL")
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	l = open(t, cfg)
	mustAppend(t, l, does("full-9", adds("a", 1)))
	mustBeClean(t, l)
	l.Close()
}

// TestReadOnlyDisk opens a ledger on a disk that can only be read: it says so and touches nothing.
func TestReadOnlyDisk(t *testing.T) {
	dir := tmpfs(t, 320)
	cfg := config(filepath.Join(dir, "home"))
	cfg.Reserve = 64 << 20
	l := open(t, cfg)
	mustAppend(t, l, does("q-1", adds("a", 1)))
	l.Close()
	if out, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Skipf("the disk cannot be made read-only: %v %s", err, out)
	}
	before := digests(t, cfg.Dir)
	_, err := Open(context.Background(), cfg)
	mustRefuse(t, err, "DISK_READ_ONLY")
	if fault.Code(err) != codes.Unavailable || fmt.Sprint(before) != fmt.Sprint(digests(t, cfg.Dir)) {
		t.Errorf("code %v", fault.Code(err))
	}
	if out, err := exec.Command("mount", "-o", "remount,rw", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	l = open(t, cfg)
	mustAppend(t, l, does("q-2", adds("a", 1)))
	l.Close()
}

// A running ledger whose disk turns read-only, or cannot be asked, refuses commands, reads on, and records again when
// the disk is well.
func TestDiskTurnsReadOnly(t *testing.T) {
	l := open(t, config(t.TempDir()))
	mustAppend(t, l, does("q-1", adds("a", 1)))
	well := l.disk.free
	for reason, free := range map[string]func(string) (uint64, bool, error){
		"DISK_READ_ONLY":   func(string) (uint64, bool, error) { return 1 << 40, true, nil },
		"DISK_UNREACHABLE": func(string) (uint64, bool, error) { return 0, false, errors.New("stale handle") },
	} {
		inside(t, l, func() { l.disk.free = free })
		_, err := l.Append(context.Background(), does("q-"+reason, adds("a", 1)))
		mustRefuse(t, err, reason)
		if fault.Code(err) != codes.Unavailable {
			t.Errorf("code %v", fault.Code(err))
		}
		before := sumOf(t, l, "a")
		inside(t, l, func() { l.disk.free = well })
		mustAppend(t, l, does("q-"+reason, adds("a", 1)))
		if got := sumOf(t, l, "a"); got != before+1 {
			t.Errorf("sum %d after %d", got, before)
		}
	}
	mustBeClean(t, l)
}

// inside changes something of the writer's own.
func inside(t *testing.T, l *Ledger, f func()) {
	t.Helper()
	if err := l.inWriter(context.Background(), func() error { f(); return nil }); err != nil {
		t.Fatal(err)
	}
}

// TestSyncFollowsTheLog writes through several of Badger's logs: each commit must have synced the log that it went to,
// and every new log's name must be on disk before the commit is answered.
func TestSyncFollowsTheLog(t *testing.T) {
	cfg := config(t.TempDir())
	cfg.Views = []View{sums{}}
	l := open(t, cfg)
	flush := l.disk.flush
	synced := map[string]int{}
	commits := 0
	inside(t, l, func() {
		l.disk.flush = func(f *os.File) error { synced[filepath.Base(f.Name())]++; return flush(f) }
		commit := l.sync
		l.sync = func(txn *badger.Txn) error {
			commits++
			err := commit(txn)
			logs, listErr := logNumbers(l.disk.dir)
			if newest := logs[len(logs)-1]; listErr != nil || l.disk.number != newest {
				t.Errorf("commit %d went to log %d at the latest, and log %d was synced (%v)", commits, newest, l.disk.number, listErr)
			}
			return err
		}
	})
	big := bytes.Repeat([]byte("b"), 400<<10)
	for i := range 240 { // 96 MB, and a log takes 32
		mustAppend(t, l, does(fmt.Sprint("q-", i), named("a", string(big))))
	}
	total := 0
	for _, n := range synced {
		total += n
	}
	if len(synced) < 3 || total != commits {
		t.Errorf("%d commits, synced %v", commits, synced)
	}
	l.Close()
	l = open(t, cfg)
	if l.Head().Size != 240 {
		t.Errorf("%d entries", l.Head().Size)
	}
}
