package ledger

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// childEnv, when set, makes the test binary a writer on that folder, to be killed.
const childEnv = "ZONULE_LEDGER_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		writeUntilKilled(dir)
	}
	if dir := os.Getenv(openerEnv); dir != "" {
		openAndTell(dir)
	}
	os.Exit(m.Run())
}

// writeUntilKilled records from several goroutines and writes a line for each command that was acknowledged.
func writeUntilKilled(dir string) {
	l, err := Open(context.Background(), config(dir))
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	run := l.Head().Size
	fmt.Println("open", run)
	var wait sync.WaitGroup
	for client := range 8 {
		wait.Go(func() {
			for n := 0; ; n++ {
				id := fmt.Sprintf("q-%d-%d-%d", run, client, n)
				r, err := l.Append(context.Background(), does(id, adds(fmt.Sprint("s-", client), 1), adds("all", 1)))
				if err != nil {
					fmt.Println("failed", err)
					os.Exit(1)
				}
				fmt.Printf("ack %s %d\n", id, r.Position.GetSequence())
			}
		})
	}
	wait.Wait()
}

// TestKilledWriterLosesNothing kills a writing process again and again. Every command it acknowledged must be there,
// whole, in its place, and the ledger clean. It is not a power-cut test: the operating system lives on.
func TestKilledWriterLosesNothing(t *testing.T) {
	rounds := 5
	if n, err := strconv.Atoi(os.Getenv("ZONULE_KILLS")); err == nil {
		rounds = n
	}
	if testing.Short() {
		rounds = 1
	}
	dir := t.TempDir()
	random := rand.New(rand.NewPCG(3, 5))
	acknowledged := map[string]uint64{}
	for range rounds {
		killOne(t, dir, time.Duration(20+random.IntN(150))*time.Millisecond, acknowledged)
		l := open(t, config(dir))
		mustBeClean(t, l)
		entries, err := l.Entries(context.Background(), 1, int(l.Head().Size))
		if err != nil {
			t.Fatal(err)
		}
		for id, at := range acknowledged {
			if at > uint64(len(entries)) || at < 2 || entries[at-1].GetRequestId() != id || entries[at-2].GetRequestId() != id {
				t.Fatalf("command %s was acknowledged at entry %d of %d and is not there", id, at, len(entries))
			}
		}
		if got, want := sumOf(t, l, "all"), int64(len(entries)/2); got != want && want > 0 {
			t.Errorf("sum %d, want %d", got, want)
		}
		l.Close()
	}
	t.Logf("%d commands acknowledged through %d kills", len(acknowledged), rounds)
	if len(acknowledged) == 0 {
		t.Error("the killed process acknowledged nothing; the test shows nothing")
	}
}

// killOne runs a writer, kills it some time after it has opened the ledger, and notes what it acknowledged.
func killOne(t *testing.T, dir string, after time.Duration, acknowledged map[string]uint64) {
	t.Helper()
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
	for lines.Scan() {
		word := strings.Fields(lines.Text())
		switch {
		case word[0] == "open":
			time.AfterFunc(after, func() { child.Process.Kill() })
		case word[0] == "ack" && len(word) == 3: // the last line may be cut
			at, err := strconv.ParseUint(word[2], 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			acknowledged[word[1]] = at
		case word[0] == "failed":
			t.Errorf("the writer failed: %s", lines.Text())
			child.Process.Kill()
		}
	}
	child.Wait()
}
