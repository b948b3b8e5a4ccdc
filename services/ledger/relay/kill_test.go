package relay

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"zonule/services/ledger"
)

// childEnv, when set, makes the test binary a site on that folder, to be killed.
const childEnv = "ZONULE_RELAY_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		if err := liveUntilKilled(dir); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// liveUntilKilled records and carries, all in one process, as a site does.
func liveUntilKilled(dir string) error {
	l, err := ledger.Open(context.Background(), ledger.Config{Dir: dir, Programme: "north", Site: "lab.1", Logger: quiet()})
	if err != nil {
		return err
	}
	s, err := Embedded(filepath.Join(dir, "nats"), EmbeddedOptions{Logger: quiet()})
	if err != nil {
		return err
	}
	nc, err := s.Connect("relay")
	if err != nil {
		return err
	}
	r, err := New(Config{Ledger: l, Conn: nc, Logger: quiet()})
	if err != nil {
		return err
	}
	go r.Run(context.Background())
	for n := l.Head().Size; ; n++ {
		if _, err := l.Append(context.Background(), ledger.Command{Actor: "p-1", Decide: func(ledger.Reader) ([]ledger.Event, error) {
			return []ledger.Event{{Subject: fmt.Sprint("d-", n%7), Payload: wrapperspb.UInt64(n)}}, nil
		}}); err != nil {
			return err
		}
		if s := r.Status(); s.State == Refusing {
			return fmt.Errorf("the relay refuses: %s", s.Sentence)
		} else if s.Carried > 0 && n%10 == 0 {
			fmt.Println("carried", s.Carried)
		}
	}
}

// TestKilledSite kills a site with its ledger, its NATS server and its relay in one, again and again. In the end the
// stream must be the ledger: every entry once, in order. It is not a power-cut test.
func TestKilledSite(t *testing.T) {
	rounds := 6
	if testing.Short() {
		rounds = 1
	}
	dir := t.TempDir()
	random := rand.New(rand.NewPCG(9, 2))
	for range rounds {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), childEnv+"="+dir)
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for carrying := false; lines.Scan(); {
			if strings.HasPrefix(lines.Text(), "failed") {
				t.Error(lines.Text())
				child.Process.Kill()
			} else if !carrying {
				carrying = true
				time.AfterFunc(time.Duration(random.IntN(150))*time.Millisecond, func() { child.Process.Kill() })
			}
		}
		child.Wait()
	}
	l := openLedger(t, dir)
	_, nc := startServer(t, filepath.Join(dir, "nats"))
	r, _ := start(t, l, nc)
	until(t, r, UpToDate)
	mustBeCopy(t, l, nc)
	t.Logf("%d entries through %d kills", l.Head().Size, rounds)
	if report, err := l.Check(context.Background()); err != nil || !report.Clean() {
		t.Errorf("%v\n%s", err, report)
	}
}
