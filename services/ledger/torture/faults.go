package torture

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// troubles are all that is done, in the order of the telling.
var troubles = []trouble{
	{"site killed (kill -9)", (*torturer).killSite},
	{"site and NATS killed", (*torturer).killBoth},
	{"NATS killed and restarted", (*torturer).killNATS},
	{"site killed (kill -9), again", (*torturer).killSite},
	{"NATS data deleted", (*torturer).deleteNATS},
	{"a stream message removed", (*torturer).removeMessage},
	{"one byte flipped", (*torturer).flipBytes},
	{"two processes on one folder", (*torturer).twoProcesses},
	{"clock set back", (*torturer).clockBack},
	{"site started while NATS is away", (*torturer).startWithoutNATS},
	{"one byte flipped, again", (*torturer).flipBytes},
	{"disk full", (*torturer).diskFull},
}

func (t *torturer) killSite() error {
	t.station.killSite()
	return t.restart()
}

func (t *torturer) restart() error {
	if err := t.station.startSite(); err != nil {
		return fmt.Errorf("the site did not start again: %w: %s", err, t.station.site.words())
	}
	return nil
}

func (t *torturer) killBoth() error {
	t.station.killAll()
	return t.station.start()
}

// killNATS kills NATS under load. The site goes on recording, and the copy catches up.
func (t *torturer) killNATS() error {
	t.station.killNATS()
	before := t.clients.acks.Load()
	t.pause(20, 200)
	if t.clients.acks.Load() == before {
		if _, err := t.station.ask(question{Do: "status"}); err != nil {
			return fmt.Errorf("without NATS the site answers nothing: %w", err)
		}
	}
	if err := t.station.startNATS(); err != nil {
		return err
	}
	return t.station.carried()
}

// deleteNATS deletes everything NATS had. The relay must say so and not begin anew by itself, recording must go on, and
// when someone decides that a new copy is to be made it must become whole.
func (t *torturer) deleteNATS() error {
	if err := t.station.carried(); err != nil {
		return err
	}
	t.station.killNATS()
	if err := os.RemoveAll(filepath.Join(t.station.home, "nats")); err != nil {
		return err
	}
	if err := t.station.startNATS(); err != nil {
		return err
	}
	r, err := t.station.await("the relay refuses", func(r reply) bool { return r.State == "refusing" })
	if err != nil {
		return err
	}
	if !strings.Contains(r.Sentence, "is not there") {
		t.wrong("NATS data deleted", "the relay says %q", r.Sentence)
	}
	if _, err := t.station.ask(question{Do: "restream"}); err != nil {
		return err
	}
	return t.station.carried()
}

// removeMessage flips a byte of a message in the stream's file, which NATS answers by leaving the message out. The ledger
// is whole, and the copy goes on behind the hole.
func (t *torturer) removeMessage() error {
	if err := t.station.carried(); err != nil {
		return err
	}
	t.station.killNATS()
	var blocks []string
	err := filepath.WalkDir(filepath.Join(t.station.home, "nats"), func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".blk") {
			blocks = append(blocks, path)
		}
		return err
	})
	if err != nil || len(blocks) == 0 {
		return errors.Join(err, errors.New("the stream has no files"))
	}
	if err := t.flip(blocks[t.random.IntN(len(blocks))]); err != nil {
		return err
	}
	if err := t.station.startNATS(); err != nil {
		return err
	}
	r, err := t.station.await("the relay goes on, or says why not", func(r reply) bool {
		return r.State == "refusing" || r.Carried == r.Size && r.State == "up to date"
	})
	if err != nil || r.State != "refusing" {
		return err
	}
	return t.newCopy()
}

// newCopy begins a new copy, as someone would whose copy is beyond use.
func (t *torturer) newCopy() error {
	t.station.killNATS()
	if err := os.RemoveAll(filepath.Join(t.station.home, "nats")); err != nil {
		return err
	}
	if err := t.station.startNATS(); err != nil {
		return err
	}
	if _, err := t.station.ask(question{Do: "restream"}); err != nil {
		return err
	}
	return t.station.carried()
}

// twoProcesses starts a second site on the folder of the first. It must say that the folder is in use, and the first must
// not notice.
func (t *torturer) twoProcesses() error {
	p, err := start(t.station.siteCommand())
	if !errors.Is(err, errEnded) {
		p.kill()
		t.wrong("two processes on one folder", "a second process opened the folder")
		return nil
	}
	if !strings.Contains(p.words(), "in use") {
		t.wrong("two processes on one folder", "the second process said %q", p.words())
	}
	if _, err := t.station.ask(question{Do: "status"}); err != nil {
		t.wrong("two processes on one folder", "the first process does not answer: %v", err)
	}
	return nil
}

// clockBack sets the clock an hour back under load, and forth again after a kill.
func (t *torturer) clockBack() error {
	if _, err := t.station.ask(question{Do: "clock", Shift: -time.Hour}); err != nil {
		return err
	}
	t.pause(50, 150)
	return t.killSite()
}

// startWithoutNATS starts the site while NATS, which may know of entries the site lost, cannot be asked. It must not
// begin, and must say why.
func (t *torturer) startWithoutNATS() error {
	t.station.killAll()
	err := t.station.startSite()
	if !errors.Is(err, errEnded) || !strings.Contains(t.station.site.words(), "NATS") {
		t.wrong("site started while NATS is away", "%v: %q", err, t.station.site.words())
		t.station.killSite()
	}
	return t.station.start()
}
