package relay

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// TestNATSDiskFull fills the disk of the embedded server, and nothing else's, until nothing is carried any more. The
// ledger records on; when there is room again the copy becomes whole without anyone's doing.
func TestNATSDiskFull(t *testing.T) {
	if testing.Short() || runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("mounting a small disk needs root on Linux")
	}
	disk := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=16m", "zonule-test", disk).CombinedOutput(); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", disk).CombinedOutput(); err != nil {
			t.Errorf("umount: %v %s", err, out)
		}
	})
	l := openLedger(t, t.TempDir())
	s, err := Embedded(filepath.Join(disk, "nats"), EmbeddedOptions{Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	nc, err := s.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	record(t, l, 20)
	r, stop := start(t, l, nc)
	defer stop()
	until(t, r, UpToDate)
	filler, err := os.Create(filepath.Join(disk, "filler"))
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = filler.Write(make([]byte, 4096))
	}
	filler.Close()
	for carried, since := uint64(0), time.Now(); time.Since(since) < 2*time.Second; { // until nothing is carried any more
		record(t, l, 50)
		if now := r.Status().Carried; now != carried {
			carried, since = now, time.Now()
		}
	}
	if st := r.Status(); st.Carried == st.Size {
		t.Fatalf("the disk of NATS is full, and all is carried: %+v", st)
	}
	record(t, l, 20)
	if err := os.Remove(filler.Name()); err != nil {
		t.Fatal(err)
	}
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
}
