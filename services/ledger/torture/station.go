package torture

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Starter makes the command that starts this program again in one of its two roles: Site or NATS, with these words.
type Starter func(role string, words ...string) *exec.Cmd

// The roles a process of this program can have.
const (
	RoleSite = "site" // words: data folder, NATS URL, socket, reserve in bytes
	RoleNATS = "nats" // words: folder, port
)

// process is one started process.
type process struct {
	cmd  *exec.Cmd
	gone chan struct{} // closed when it has ended
	mu   sync.Mutex
	said bytes.Buffer // on standard error
}

func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.said.Write(b)
}

func (p *process) words() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.said.String()
}

// errEnded is the error of a process that ended before it was ready; what it said says why.
var errEnded = errors.New("the process ended before it was ready")

// start starts a process and waits until it says that it is ready. One that ends before, or says nothing for a minute, is
// an error; the process is given all the same.
func start(cmd *exec.Cmd) (*process, error) {
	p := &process{cmd: cmd, gone: make(chan struct{})}
	cmd.Stderr = p
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	ready := make(chan bool, 1)
	go func() {
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			if strings.HasPrefix(lines.Text(), "ready") {
				ready <- true
			}
		}
		_ = cmd.Wait() // that it was killed is no news
		close(p.gone)
	}()
	select {
	case <-ready:
		return p, nil
	case <-p.gone:
		return p, errEnded
	case <-time.After(time.Minute):
		p.kill()
		return p, errors.New("the process was not ready within a minute, and did not end")
	}
}

// kill ends a process as kill -9 does, and waits for it. It gives 1 if the process was alive.
func (p *process) kill() int {
	if p == nil {
		return 0
	}
	err := p.cmd.Process.Kill() // it may have ended
	<-p.gone
	if err != nil {
		return 0
	}
	return 1
}

// station is a tortured site: its folder, its two processes, and where it answers.
type station struct {
	starter Starter
	work    string // holds home, and the socket
	home    string // the data folder; what belongs to NATS lies in it too
	port    int
	reserve uint64

	mu         sync.Mutex
	site, nats *process

	siteKills, natsKills int
}

func newStation(starter Starter, work string, reserve uint64) (*station, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	port := l.Addr().(*net.TCPAddr).Port
	if err := l.Close(); err != nil {
		return nil, err
	}
	s := &station{starter: starter, work: work, home: filepath.Join(work, "home"), port: port, reserve: reserve}
	return s, os.MkdirAll(s.home, 0o700)
}

func (s *station) socket() string { return filepath.Join(s.work, "s") }

func (s *station) startNATS() error {
	p, err := start(s.starter(RoleNATS, filepath.Join(s.home, "nats"), fmt.Sprint(s.port)))
	s.nats = p
	if err != nil {
		return fmt.Errorf("NATS did not start: %w: %s", err, p.words())
	}
	return nil
}

// siteCommand makes the command of another site process on the same folder.
func (s *station) siteCommand() *exec.Cmd {
	return s.starter(RoleSite, s.home, fmt.Sprintf("nats://127.0.0.1:%d", s.port), s.socket(), fmt.Sprint(s.reserve))
}

func (s *station) startSite() error {
	p, err := start(s.siteCommand())
	s.mu.Lock()
	s.site = p
	s.mu.Unlock()
	return err
}

// start starts both.
func (s *station) start() error {
	if err := s.startNATS(); err != nil {
		return err
	}
	if err := s.startSite(); err != nil {
		return fmt.Errorf("the site did not start: %w: %s", err, s.site.words())
	}
	return nil
}

func (s *station) killSite() { s.siteKills += s.site.kill() }
func (s *station) killNATS() { s.natsKills += s.nats.kill() }

func (s *station) killAll() {
	s.killSite()
	s.killNATS()
}

// line is a client's connection.
type line struct {
	conn net.Conn
	to   *json.Encoder
	from *json.Decoder
}

func (s *station) dial() (*line, error) {
	c, err := net.Dial("unix", s.socket())
	if err != nil {
		return nil, err
	}
	return &line{conn: c, to: json.NewEncoder(c), from: json.NewDecoder(c)}, nil
}

// ask asks and waits for the answer.
func (l *line) ask(q question) (r reply, err error) {
	if err := l.conn.SetDeadline(time.Now().Add(30 * time.Second)); err != nil {
		return reply{}, err
	}
	if err := l.to.Encode(q); err != nil {
		return reply{}, err
	}
	return r, l.from.Decode(&r)
}

// ask asks one question on a connection of its own.
func (s *station) ask(q question) (reply, error) {
	l, err := s.dial()
	if err != nil {
		return reply{}, err
	}
	defer func() { _ = l.conn.Close() }() // it was answered, or not
	return l.ask(q)
}

// await waits until the status is as wanted.
func (s *station) await(what string, until func(reply) bool) (reply, error) {
	var r reply
	var err error
	for deadline := time.Now().Add(40 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if r, err = s.ask(question{Do: "status"}); err == nil && until(r) {
			return r, nil
		}
	}
	return r, fmt.Errorf("in 40 s it did not come to this: %s; it is %+v (%v)", what, r, err)
}

// carried waits until every entry is in the copy and under a checkpoint.
func (s *station) carried() error {
	_, err := s.await("every entry carried and signed", func(r reply) bool { return r.Carried == r.Size && r.Signed && r.State == "up to date" })
	return err
}

// read reads all entries.
func (s *station) read() ([]Entry, reply, error) {
	l, err := s.dial()
	if err != nil {
		return nil, reply{}, err
	}
	defer func() { _ = l.conn.Close() }()
	var all []Entry
	for {
		r, err := l.ask(question{Do: "entries", From: uint64(len(all)) + 1})
		if err != nil || r.Reason != "" {
			return all, r, err
		}
		all = append(all, r.Entries...)
		if uint64(len(all)) >= r.Size || len(r.Entries) == 0 {
			return all, r, nil
		}
	}
}
