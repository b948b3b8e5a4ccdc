package torture

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"
)

// The small disk, and what of it the ledger keeps in reserve.
const (
	smallDisk    = 384 << 20
	smallReserve = 64 << 20
)

// diskFull brings up another site on a small disk of its own, with clients, and fills the disk under it until it refuses.
// It must say so, go on being read, and record again when there is room; in the end everything that was acknowledged must
// be there. The first site goes on meanwhile. Where no disk may be mounted it comes down to a kill.
func (t *torturer) diskFull() error {
	dir := filepath.Join(t.Work, "small")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if runtime.GOOS != "linux" || exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%d", smallDisk), "zonule-torture", dir).Run() != nil {
		t.result.Outcomes["disk full: no small disk can be mounted here; killed instead"]++
		return t.killSite()
	}
	defer func() {
		_ = exec.Command("umount", dir).Run() // and else at the end of the machine
		_ = os.RemoveAll(dir)
	}()
	s, err := newStation(t.Starter, dir, smallReserve)
	if err != nil {
		return err
	}
	defer s.killAll()
	if err := s.start(); err != nil {
		return err
	}
	small := &torturer{Options: t.Options, random: t.random, station: s, result: Result{Rounds: t.result.Rounds}}
	small.clients = &clients{station: s, count: 3, seed: t.Seed + 1, refused: map[string]int{}, round: t.clients.round << 8}
	if err := small.fillUp(dir); err != nil {
		return err
	}
	t.result.Wrong = append(t.result.Wrong, small.result.Wrong...)
	t.result.Lost += small.result.Lost
	t.clients.acks.Add(small.clients.acks.Load())
	t.clients.mu.Lock()
	defer t.clients.mu.Unlock()
	for reason, n := range small.clients.refused {
		t.clients.refused[reason] += n
	}
	return nil
}

// fillUp is the small site's round.
func (t *torturer) fillUp(dir string) error {
	t.clients.begin()
	filler := filepath.Join(dir, "filler")
	if err := fill(filler); err != nil {
		return err
	}
	refused := t.clients.refusals("DISK_FULL")
	for deadline := time.Now().Add(20 * time.Second); t.clients.refusals("DISK_FULL") == refused && time.Now().Before(deadline); {
		if t.clients.finished() { // they were done before the disk was full
			t.clients.begin()
		}
		time.Sleep(5 * time.Millisecond)
	}
	if t.clients.refusals("DISK_FULL") == refused {
		t.wrong("disk full", "nobody was refused")
	}
	if r, err := t.station.ask(question{Do: "read", Key: "k1"}); err != nil || r.Reason != "" {
		t.wrong("disk full", "it cannot be read: %v %s", err, r.Sentence)
	}
	if check, err := t.station.ask(question{Do: "check"}); err != nil || !check.Clean {
		t.wrong("disk full", "it cannot be checked: %v %s", err, check.Sentence)
	}
	if err := os.Remove(filler); err != nil {
		return err
	}
	if err := t.clients.end(); err != nil {
		return err
	}
	return t.judge("disk full")
}

// fill writes a file until the disk takes no more.
func fill(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	for err == nil {
		_, err = f.Write(make([]byte, 1<<20))
	}
	if errors.Is(err, fs.ErrClosed) {
		return err
	}
	return f.Close()
}
