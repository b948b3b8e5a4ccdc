package terminal

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/term"
)

// errWaited says that no key came within the time asked for.
var errWaited = errors.New("no key yet")

// ErrInputEnded says that the input is over: a closed pipe, or end-of-file typed.
var ErrInputEnded = errors.New("the input ended before the drill did")

// Answer is what the trainee typed: a choice by number or id, or a command letter. Elapsed is negative
// unless the line stated it ("hold @2.5").
type Answer struct {
	Word    string
	Elapsed float64
	Rest    string // what followed, taken as the reason
}

// Input reads what the trainee types.
type Input interface {
	// Answer waits up to within for an answer; errWaited when none came, ErrInputEnded at the end.
	Answer(ctx context.Context, within time.Duration) (Answer, error)
	// Line asks for a line of text.
	Line(ctx context.Context) (string, error)
	// Live says whether a person is watching, so that the clock should be drawn.
	Live() bool
	// Close gives the terminal back.
	Close() error
}

// NewInput reads single keys from a terminal, or lines from anything else.
func NewInput(f *os.File) (Input, error) {
	if !term.IsTerminal(int(f.Fd())) {
		return newLines(f), nil
	}
	k := &keys{file: f, bytes: make(chan byte, 64)}
	if err := k.raw(); err != nil {
		return nil, fmt.Errorf("the terminal does not take single keys: %w", err)
	}
	go pump(f, k.bytes)
	return k, nil
}

// keys reads a terminal key by key.
type keys struct {
	file  *os.File
	was   *term.State
	bytes chan byte
}

func (k *keys) raw() (err error) {
	k.was, err = term.MakeRaw(int(k.file.Fd()))
	return err
}

func (k *keys) Close() error { return term.Restore(int(k.file.Fd()), k.was) }
func (k *keys) Live() bool   { return true }

func pump(r io.Reader, out chan<- byte) {
	defer close(out)
	buf := make([]byte, 1)
	for {
		n, err := r.Read(buf)
		if n > 0 {
			out <- buf[0]
		}
		if err != nil {
			return
		}
	}
}

const (
	ctrlC = 3
	ctrlD = 4
)

func (k *keys) Answer(ctx context.Context, within time.Duration) (Answer, error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return Answer{}, ctx.Err()
		case <-timer.C:
			return Answer{}, errWaited
		case b, ok := <-k.bytes:
			switch {
			case !ok || b == ctrlC || b == ctrlD:
				return Answer{}, ErrInputEnded
			case b > ' ' && b < 127:
				return Answer{Word: string(rune(b)), Elapsed: -1}, nil
			}
		}
	}
}

// Line gives the terminal its own line editing back for as long as a line is typed.
func (k *keys) Line(ctx context.Context) (string, error) {
	if err := k.Close(); err != nil {
		return "", err
	}
	var line []byte
	for {
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case b, ok := <-k.bytes:
			if !ok {
				return "", ErrInputEnded
			}
			if b == '\n' || b == '\r' {
				return strings.TrimSpace(string(line)), k.raw()
			}
			line = append(line, b)
		}
	}
}

// lines reads answers a line at a time: "2", "hold", "hold @2.5", "hold @2.5 the bag moves with the tip".
type lines struct {
	in chan string
}

func newLines(r io.Reader) *lines {
	l := &lines{in: make(chan string)}
	go func() {
		defer close(l.in)
		s := bufio.NewScanner(r)
		for s.Scan() {
			if text := strings.TrimSpace(s.Text()); text != "" && !strings.HasPrefix(text, "#") {
				l.in <- text
			}
		}
	}()
	return l
}

func (l *lines) Close() error { return nil }
func (l *lines) Live() bool   { return false }

func (l *lines) Answer(ctx context.Context, within time.Duration) (Answer, error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return Answer{}, ctx.Err()
	case <-timer.C:
		return Answer{}, errWaited
	case text, ok := <-l.in:
		if !ok {
			return Answer{}, ErrInputEnded
		}
		return parseAnswer(text)
	}
}

func (l *lines) Line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case text, ok := <-l.in:
		if !ok {
			return "", ErrInputEnded
		}
		return text, nil
	}
}

func parseAnswer(text string) (Answer, error) {
	a := Answer{Elapsed: -1}
	var rest string
	a.Word, rest, _ = strings.Cut(text, " ")
	rest = strings.TrimSpace(rest)
	if at, ok := strings.CutPrefix(rest, "@"); ok {
		seconds, reason, _ := strings.Cut(at, " ")
		s, err := strconv.ParseFloat(strings.TrimSuffix(seconds, "s"), 64)
		if err != nil || s < 0 || s > 600 {
			return Answer{}, fmt.Errorf("%q: the seconds after @ are a number from 0 to 600", text)
		}
		a.Elapsed, rest = s, strings.TrimSpace(reason)
	}
	a.Rest = rest
	return a, nil
}
