package relay

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/tlog"

	"zonule/services/clock"
	"zonule/services/fault"
	"zonule/services/ledger"
)

// carried makes a ledger of forty entries and its stream.
func carried(t *testing.T) (l *ledger.Ledger, s *Server, c *Copy, stop func()) {
	l = openLedger(t, t.TempDir())
	s, nc := startServer(t, t.TempDir())
	record(t, l, 40)
	r, stop := start(t, l, nc)
	until(t, r, UpToDate)
	c, err := NewCopy(nc, "north", "lab.1")
	if err != nil {
		t.Fatal(err)
	}
	return l, s, c, stop
}

func TestCopyGivesEveryEntry(t *testing.T) {
	l, _, c, _ := carried(t)
	ctx := context.Background()
	if end, err := c.End(ctx); end != 40 || err != nil {
		t.Errorf("end %d, %v", end, err)
	}
	run, err := l.Stored(ctx, 1, 100)
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range run {
		if b, err := c.Entry(ctx, one.Sequence, one.Leaf); err != nil || string(b) != string(one.Bytes) {
			t.Errorf("entry %d: %v", one.Sequence, err)
		}
	}
	if _, err := c.Entry(ctx, 3, run[3].Leaf); err == nil {
		t.Error("an entry was given under another's hash")
	}
	for _, none := range []uint64{0, 41, 1000} {
		if _, err := c.At(ctx, none); err == nil {
			t.Errorf("entry %d was found", none)
		}
	}
}

// A stream with holes, and with entries sent again behind them, gives what it has and says what it has not.
func TestCopyWithHoles(t *testing.T) {
	_, nc := startServer(t, t.TempDir())
	l := openLedger(t, t.TempDir())
	record(t, l, 12)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	stream, err := js.CreateStream(ctx, jetstream.StreamConfig{Name: StreamName("north", "lab.1"), Subjects: []string{SitePrefix("north", "lab.1") + ">"}})
	if err != nil {
		t.Fatal(err)
	}
	run, err := l.Stored(ctx, 1, 100)
	if err != nil {
		t.Fatal(err)
	}
	held := map[uint64]bool{}
	for i, sequence := range []uint64{1, 2, 3, 4, 4, 5, 7, 8, 9, 10, 10, 11} { // 6 is missing; 4 and 10 were sent twice
		msg, err := Message(run[sequence-1])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := js.PublishMsg(ctx, msg); err != nil {
			t.Fatal(err)
		}
		held[sequence] = true
		if i == 3 || i == 9 { // the first sending of 4 and of 10 was lost
			if err := stream.DeleteMsg(ctx, uint64(i+1)); err != nil {
				t.Fatal(err)
			}
		}
	}
	c, err := NewCopy(nc, "north", "lab.1")
	if err != nil {
		t.Fatal(err)
	}
	for sequence := uint64(1); sequence <= 12; sequence++ {
		b, err := c.At(ctx, sequence)
		if (err == nil) != held[sequence] || err == nil && string(b) != string(run[sequence-1].Bytes) {
			t.Errorf("entry %d: held %v, %v", sequence, held[sequence], err)
		}
	}
	if end, err := c.End(ctx); end != 11 || err != nil {
		t.Errorf("end %d, %v", end, err)
	}
}

// A ledger that lost its end, or everything, gets it back from the stream, byte for byte, and goes on.
func TestLostEndComesBack(t *testing.T) {
	for _, kept := range []int{0, 1, 25, 40} {
		t.Run(fmt.Sprint("kept ", kept), func(t *testing.T) {
			whole, _, c, stop := carried(t)
			stop()
			want, err := whole.Stored(context.Background(), 1, 100)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			if kept > 0 {
				shortened(t, dir, want[:kept])
			}
			l, err := ledger.Open(context.Background(), ledger.Config{Dir: dir, Programme: "north", Site: "lab.1", Logger: quiet(), Source: c})
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			if l.Head() != whole.Head() {
				t.Errorf("head %+v, want %+v", l.Head(), whole.Head())
			}
			got, err := l.Stored(context.Background(), 1, 100)
			if err != nil || len(got) != len(want) {
				t.Fatalf("%d entries, %v", len(got), err)
			}
			for i := range got {
				if string(got[i].Bytes) != string(want[i].Bytes) {
					t.Errorf("entry %d differs", i+1)
				}
			}
			if r, err := l.Check(context.Background()); err != nil || !r.Clean() {
				t.Errorf("%v\n%s", err, r)
			}
			record(t, l, 1)
		})
	}
}

// shortened makes a ledger of the first entries of another, by recording the same at the same time.
func shortened(t *testing.T, dir string, want []ledger.Stored) {
	t.Helper()
	l := openLedger(t, dir)
	for range want {
		record(t, l, 1)
	}
	got, err := l.Stored(context.Background(), 1, len(want))
	if err != nil {
		t.Fatal(err)
	}
	for i := range want {
		if tlog.RecordHash(got[i].Bytes) != want[i].Leaf {
			t.Fatalf("entry %d was not recorded alike; the test needs it", i+1)
		}
	}
	l.Close()
}

// A stream whose end is not this ledger's future is not taken.
func TestForeignEndIsNotTaken(t *testing.T) {
	_, _, c, stop := carried(t)
	stop()
	other := clock.System{}
	l, err := ledger.Open(context.Background(), ledger.Config{Dir: t.TempDir(), Programme: "north", Site: "lab-9", Logger: quiet(), Clock: other, Source: c})
	if fault.Reason(err) != "END_MISSING" {
		t.Errorf("%v", err)
		if err == nil {
			l.Close()
		}
	}
}

func TestEncryptedStreams(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "nats")
	key, other := make(ledger.StoreKey, 32), append(make(ledger.StoreKey, 31), 1)
	begin := func(k ledger.StoreKey) (*Server, error) {
		return Embedded(dir, EmbeddedOptions{Logger: quiet(), StoreKey: k})
	}
	s, err := begin(key)
	if err != nil {
		t.Fatal(err)
	}
	nc, err := s.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	l := openLedger(t, t.TempDir())
	record(t, l, 30)
	r, stop := start(t, l, nc)
	until(t, r, UpToDate)
	stop()
	nc.Close()
	if _, err := begin(key); fault.Reason(err) != "FOLDER_IN_USE" {
		t.Errorf("a second server on the folder: %v", err)
	}
	s.Stop()
	size := 0
	filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		size += len(b)
		if err != nil || strings.Contains(string(b), "UInt64Value") {
			t.Errorf("%s holds plain text (%v)", path, err)
		}
		return nil
	})
	for _, wrong := range []ledger.StoreKey{other, nil} {
		if _, err := begin(wrong); fault.Reason(err) != "WRONG_STORE_KEY" {
			t.Errorf("with a wrong key: %v", err)
		}
	}
	if s, err = begin(key); err != nil {
		t.Fatal(err)
	}
	defer s.Stop()
	if nc, err = s.Connect("test"); err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	mustBeCopy(t, l, nc)
	if size == 0 {
		t.Error("there were no files")
	}
}
