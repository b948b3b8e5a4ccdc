package ledger

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

// openerEnv, when set, makes the test binary a process that opens the ledger in that folder and says what it took.
const openerEnv = "ZONULE_LEDGER_OPENER"

// openAndTell opens a large ledger in a process that has done nothing else.
func openAndTell(dir string) {
	runtime.GC()
	began := time.Now()
	c := benchConfig(dir)
	l, err := Open(context.Background(), c)
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	took := time.Since(began)
	peak := resident("VmHWM")
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	began = time.Now()
	var wait time.Duration
	for sequence := uint64(1); sequence <= l.Head().Size; sequence += l.Head().Size/200 + 1 {
		at := time.Now()
		if _, err := l.ProveInclusion(sequence, 0); err != nil {
			fmt.Println("failed", err)
			os.Exit(1)
		}
		wait = max(wait, time.Since(at))
	}
	fmt.Printf("%d entries: opened in %d ms, peak resident %d MB, heap afterwards %d MB; 200 inclusion proofs in %d ms, the slowest %.2f ms\n",
		l.Head().Size, took.Milliseconds(), peak>>20, m.HeapAlloc>>20, time.Since(began).Milliseconds(), wait.Seconds()*1000)
	began = time.Now()
	if _, err := l.Rebuild(context.Background()); err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	fmt.Printf("views rebuilt at %.0f entries/s, peak resident %d MB\n", float64(l.Head().Size)/time.Since(began).Seconds(), resident("VmHWM")>>20)
	l.Close()
	os.Exit(0)
}

// resident reads a figure of this process from the system; 0 where there is none.
func resident(what string) int {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	m := regexp.MustCompile(what + `:\s+(\d+) kB`).FindStringSubmatch(string(b))
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(m[1]) // digits
	return n << 10
}

// BenchmarkMillions fills a ledger with ZONULE_MILLIONS million entries and opens it in a fresh process: how long that
// takes, and how much memory. It needs about 1 GB of disk for each million, and a few minutes.
func BenchmarkMillions(b *testing.B) {
	millions, err := strconv.Atoi(os.Getenv("ZONULE_MILLIONS"))
	if err != nil {
		b.Skip("set ZONULE_MILLIONS=2 to fill two million entries")
	}
	dir := b.TempDir()
	began := time.Now()
	l := fill(b, dir, millions*1_000_000)
	filled := float64(l.Head().Size) / time.Since(began).Seconds()
	l.Close()
	size := int64(0)
	filepath.WalkDir(dir, func(_ string, d os.DirEntry, err error) error {
		if info, statErr := d.Info(); err == nil && statErr == nil && !d.IsDir() {
			size += info.Size()
		}
		return nil
	})
	for b.Loop() {
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), openerEnv+"="+dir)
		out, err := child.CombinedOutput()
		if err != nil {
			b.Fatalf("%v %s", err, out)
		}
		b.Logf("filled at %.0f entries/s in commands of a hundred; %d MB on disk\n%s", filled, size>>20, strings.TrimSpace(string(out)))
	}
}
