package torture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// flip changes one bit of a file, somewhere in the part of it that is in use.
func (t *torturer) flip(path string) error {
	content, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	used := len(bytes.TrimRight(content, "\x00"))
	if used == 0 {
		return nil
	}
	at := t.random.IntN(used)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteAt([]byte{content[at] ^ 1<<t.random.IntN(8)}, int64(at))
	return errors.Join(err, f.Close())
}

// flipBytes kills everything, so that the live end of the log is there, and flips single bytes of one file of the data
// folder after the other, a few in a round. Each time the site must come up with everything that was ever acknowledged,
// or name what is damaged; it must not give a wrong answer, nor end without a plain word. Then the folder is put back as
// it was before.
func (t *torturer) flipBytes() error {
	if err := t.clients.end(); err != nil {
		return err
	}
	if err := t.station.carried(); err != nil {
		return err
	}
	t.station.killAll()
	whole := filepath.Join(t.station.work, "whole")
	defer func() { _ = os.RemoveAll(whole) }()
	if err := copyFolder(t.station.home, whole); err != nil {
		return err
	}
	files, err := usedFiles(t.station.home)
	if err != nil {
		return err
	}
	for range t.Flips {
		name := files[t.file%len(files)]
		t.file++
		if err := t.flip(filepath.Join(t.station.home, name)); err != nil {
			return err
		}
		outcome, err := t.probe(name)
		if err != nil {
			return err
		}
		t.result.Outcomes[kindOf(name)+": "+outcome]++
		t.station.killAll()
		if err := os.RemoveAll(t.station.home); err != nil {
			return err
		}
		if err := copyFolder(whole, t.station.home); err != nil {
			return err
		}
	}
	return t.station.start()
}

// plain finds a refusal's reason behind its sentence, or the word of an error in the log.
var plain = regexp.MustCompile(`\[[A-Z]+(_[A-Z]+)+|damaged|level=ERROR`)

// probe starts the site on a damaged folder and looks at all it says.
func (t *torturer) probe(name string) (string, error) {
	bad := func(format string, a ...any) string {
		t.wrong("one byte flipped in "+name, format, a...)
		return "WRONG"
	}
	if err := t.station.startNATS(); err != nil {
		if words := t.station.nats.words(); !plain.MatchString(words) {
			return bad("NATS ended without a plain word: %s", words), nil
		}
		return "named, and not started", nil
	}
	if err := t.station.startSite(); err != nil {
		words := t.station.site.words()
		switch {
		case !errors.Is(err, errEnded):
			return bad("%v: %s", err, words), nil
		case !plain.MatchString(firstOf(words)):
			return bad("the site ended without a plain word: %s", words), nil
		}
		return "named, and not started", nil
	}
	outcome, err := t.questioned(bad)
	if err == nil {
		return outcome, nil
	}
	words := t.station.site.words() // the connection broke: the process ended under the questions
	if !plain.MatchString(firstOf(words)) {
		return bad("the site ended under questions without a plain word (%v): %s", err, words), nil
	}
	return "named, and ended by the store", nil
}

// firstOf gives what was said before a trace.
func firstOf(words string) string {
	for _, trace := range []string{"\npanic:", "\nfatal error:", "\nunexpected fault"} {
		if i := strings.Index("\n"+words, trace); i >= 0 {
			words = words[:max(i-1, 0)]
		}
	}
	return words
}

// questioned reads everything and judges it.
func (t *torturer) questioned(bad func(string, ...any) string) (string, error) {
	if _, err := t.station.ask(question{Do: "scrub"}); err != nil { // as a site does in the background
		return "", err
	}
	for i := range keys {
		r, err := t.station.ask(question{Do: "read", Key: fmt.Sprint("k", i)})
		if err != nil {
			return "", err
		}
		if r.Reason == "" {
			t.clients.history = append(t.clients.history, Ask{Client: "prober", Key: fmt.Sprint("k", i), Began: t.clients.clock.Add(1), Done: t.clients.clock.Add(1), Sequence: r.Sequence, Sum: r.Sum})
		}
	}
	entries, r, err := t.station.read()
	if err != nil {
		return "", err
	}
	if r.Reason != "" {
		t.dropProbes()
		return "named when read", nil
	}
	wrong, _ := Judge(t.clients.history, entries)
	t.dropProbes()
	check, err := t.station.ask(question{Do: "check"})
	if err != nil {
		return "", err
	}
	switch {
	case len(wrong) > 0 && check.Clean:
		return bad("it is served as truth: %s", strings.Join(wrong[:min(len(wrong), 3)], "; ")), nil
	case len(wrong) > 0:
		return bad("%s; the check says %s", strings.Join(wrong[:min(len(wrong), 3)], "; "), check.Sentence), nil
	case !check.Clean:
		return "right answers, named by the check", nil
	}
	return "whole, or put right", nil
}

// dropProbes takes the prober's reads out of the history: the folder goes back to what it was.
func (t *torturer) dropProbes() {
	t.clients.history = slices.DeleteFunc(t.clients.history, func(a Ask) bool { return a.Client == "prober" })
}

// kindOf names files that differ in a number only by what they are.
func kindOf(name string) string {
	name = regexp.MustCompile(`[0-9]+\.`).ReplaceAllString(name, "N.")
	if i := strings.Index(name, "/streams/"); i >= 0 {
		name = "nats/.../" + name[strings.Index(name, "/streams/")+len("/streams/"):]
	}
	return name
}

// usedFiles are the files of a folder that hold something other than zeros.
func usedFiles(dir string) (names []string, err error) {
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		content, err := os.ReadFile(path)
		if err == nil && len(bytes.TrimRight(content, "\x00")) > 0 {
			name, _ := filepath.Rel(dir, path) // below dir by its making
			names = append(names, name)
		}
		return err
	})
	return names, err
}

// copyFolder copies a folder; runs of zeros stay holes.
func copyFolder(from, to string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		switch {
		case d.IsDir():
			return os.MkdirAll(filepath.Join(to, name), 0o700)
		case d.Type().IsRegular():
			return copyFile(path, filepath.Join(to, name))
		}
		return nil
	})
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }() // it was only read
	out, err := os.OpenFile(to, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	piece, zeros, size := make([]byte, 64<<10), make([]byte, 64<<10), int64(0)
	for {
		n, readErr := io.ReadFull(in, piece)
		if n > 0 && !bytes.Equal(piece[:n], zeros[:n]) {
			if _, err := out.WriteAt(piece[:n], size); err != nil {
				return errors.Join(err, out.Close())
			}
		}
		size += int64(n)
		if readErr != nil {
			if !errors.Is(readErr, io.EOF) && !errors.Is(readErr, io.ErrUnexpectedEOF) {
				err = readErr
			}
			break
		}
	}
	return errors.Join(err, out.Truncate(size), out.Close())
}
