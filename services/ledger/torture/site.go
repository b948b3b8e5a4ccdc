package torture

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
)

// programme and siteID are what every tortured ledger is of.
const programme, siteID = "torture", "bench"

// question is what a client sends: one JSON object a line.
type question struct {
	Do    string        `json:"do"` // add, read, entries, check, scrub, status, clock, restream
	ID    string        `json:"id,omitempty"`
	Key   string        `json:"key,omitempty"`
	Add   int64         `json:"add,omitempty"`
	From  uint64        `json:"from,omitempty"`
	Shift time.Duration `json:"shift,omitempty"`
}

// reply is what comes back.
type reply struct {
	Reason   string  `json:"reason,omitempty"` // of a refusal
	Sentence string  `json:"sentence,omitempty"`
	Sequence uint64  `json:"sequence,omitempty"`
	Sum      int64   `json:"sum,omitempty"`
	Repeated bool    `json:"repeated,omitempty"`
	Entries  []Entry `json:"entries,omitempty"`
	Size     uint64  `json:"size,omitempty"`
	Carried  uint64  `json:"carried,omitempty"`
	Signed   bool    `json:"signed,omitempty"` // a checkpoint covers the head
	State    string  `json:"state,omitempty"`
	Clean    bool    `json:"clean,omitempty"`
}

// sums is the tortured ledger's view: the sum of each key.
type sums struct{}

func (sums) Name() string    { return "sums" }
func (sums) Version() uint32 { return 1 }

func (sums) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	add, ok := payload.(*wrapperspb.Int64Value)
	if !ok {
		return nil
	}
	total := &wrapperspb.Int64Value{}
	if _, err := w.Get("sums", e.GetSubjectId(), total); err != nil {
		return err
	}
	total.Value += add.GetValue()
	return w.Put("sums", e.GetSubjectId(), total)
}

// shiftedClock is the machine's clock, set wrong by as much as someone says.
type shiftedClock struct{ by atomic.Int64 }

func (c *shiftedClock) Now() time.Time { return time.Now().Add(time.Duration(c.by.Load())) }

// site is the process under torture.
type site struct {
	dir    string
	ledger *ledger.Ledger
	relay  *relay.Relay
	clock  *shiftedClock
}

// Site is a process's life: it opens the ledger in a folder with the copy in NATS behind it, says "ready" on out, and
// answers at a socket until it is killed or its input ends. An error says in a sentence why it could not.
func Site(ctx context.Context, dir, natsURL, socket string, reserve uint64, out io.Writer) error {
	log := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	conn, err := nats.Connect(natsURL, nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond), nats.RetryOnFailedConnect(true))
	if err != nil {
		return err
	}
	defer conn.Close()
	stream, err := relay.NewCopy(conn, programme, siteID)
	if err != nil {
		return err
	}
	s := &site{dir: dir, clock: &shiftedClock{}}
	s.ledger, err = ledger.Open(ctx, ledger.Config{
		Dir: dir, Programme: programme, Site: siteID, Views: []ledger.View{sums{}}, Logger: log, Source: stream, Clock: s.clock,
		CheckpointEvery: 100 * time.Millisecond, Reserve: reserve,
	})
	if err != nil {
		return err
	}
	defer func() { _ = s.ledger.Close() }()
	if s.relay, err = relay.New(relay.Config{Ledger: s.ledger, Conn: conn, Logger: log}); err != nil {
		return err
	}
	go func() { _ = s.relay.Run(ctx) }() // ends with ctx or the ledger
	_ = os.Remove(socket)                // of the process killed before
	listener, err := net.Listen("unix", socket)
	if err != nil {
		return err
	}
	go func() { <-ctx.Done(); _ = listener.Close() }()
	fmt.Fprintln(out, "ready")
	for {
		c, err := listener.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		go s.serve(ctx, c)
	}
}

func (s *site) serve(ctx context.Context, c net.Conn) {
	defer func() { _ = c.Close() }()
	lines := bufio.NewScanner(c)
	to := json.NewEncoder(c)
	for lines.Scan() {
		var q question
		if err := json.Unmarshal(lines.Bytes(), &q); err != nil {
			return
		}
		r, err := s.answer(ctx, q)
		if err != nil {
			f := fault.From(err)
			r = reply{Reason: f.Reason, Sentence: f.Sentence}
		}
		if to.Encode(r) != nil {
			return
		}
	}
}

func (s *site) answer(ctx context.Context, q question) (reply, error) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	switch q.Do {
	case "add":
		return s.add(ctx, q)
	case "read":
		return s.read(ctx, q)
	case "entries":
		return s.entries(ctx, q)
	case "check":
		report, err := s.ledger.Check(ctx)
		return reply{Clean: report.Clean(), Sentence: report.String()}, err
	case "scrub":
		_, _, err := s.ledger.Scrub(ctx)
		return reply{}, err
	case "status":
		st, size := s.relay.Status(), s.ledger.Head().Size
		r := reply{State: string(st.State), Sentence: st.Sentence, Carried: st.Carried, Size: size}
		b, err := os.ReadFile(filepath.Join(s.dir, "checkpoint"))
		r.Signed = size == 0 || err == nil && signedSize(b) == size
		return r, nil
	case "clock":
		s.clock.by.Add(int64(q.Shift))
		return reply{}, nil
	case "restream":
		return reply{}, s.ledger.ForgetCursor(ctx, relay.StreamName(programme, siteID))
	}
	return reply{}, errors.New("an unknown question")
}

// signedSize reads the size out of a checkpoint's second line.
func signedSize(b []byte) (size uint64) {
	var origin string
	_, _ = fmt.Sscanf(string(b), "%s\n%d\n", &origin, &size)
	return size
}

// add records a command. The answer holds the sum after it, as the decision saw it; a repetition does not know it.
func (s *site) add(ctx context.Context, q question) (reply, error) {
	sum := int64(0)
	receipt, err := s.ledger.Append(ctx, ledger.Command{Actor: "torturer", RequestID: q.ID, Fingerprint: fmt.Appendf(nil, "%s %d", q.Key, q.Add), Decide: func(r ledger.Reader) ([]ledger.Event, error) {
		total := &wrapperspb.Int64Value{}
		_, err := r.Get("sums", q.Key, total)
		sum = total.GetValue() + q.Add
		return []ledger.Event{{Subject: q.Key, Payload: wrapperspb.Int64(q.Add)}}, err
	}})
	if err != nil {
		return reply{}, err
	}
	return reply{Sequence: receipt.Position.GetSequence(), Sum: sum, Repeated: receipt.Repeated}, nil
}

func (s *site) read(ctx context.Context, q question) (r reply, err error) {
	err = s.ledger.Read(ctx, nil, func(v ledger.Reader) error {
		total := &wrapperspb.Int64Value{}
		_, err := v.Get("sums", q.Key, total)
		r = reply{Sequence: v.Position().GetSequence(), Sum: total.GetValue()}
		return err
	})
	return r, err
}

func (s *site) entries(ctx context.Context, q question) (reply, error) {
	run, err := s.ledger.Entries(ctx, q.From, 1000)
	if err != nil {
		return reply{}, err
	}
	r := reply{Size: s.ledger.Head().Size}
	for _, e := range run {
		payload, err := e.GetPayload().UnmarshalNew()
		add, ok := payload.(*wrapperspb.Int64Value)
		if err != nil || !ok {
			return reply{}, fmt.Errorf("entry %d holds a %s", e.GetSequence(), e.GetKind())
		}
		r.Entries = append(r.Entries, Entry{Sequence: e.GetSequence(), ID: e.GetRequestId(), Key: e.GetSubjectId(), Add: add.GetValue()})
	}
	return r, nil
}

// NATS is the life of the other process: a server on a folder and a port, until it is killed.
func NATS(ctx context.Context, dir string, port int, out io.Writer) error {
	log := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
	s, err := relay.Embedded(dir, relay.EmbeddedOptions{Loopback: true, Port: port, Logger: log})
	if err != nil {
		return err
	}
	defer s.Stop()
	fmt.Fprintln(out, "ready", s.URL())
	<-ctx.Done()
	return nil
}

// Be lives the life of one role, for a process that was started by a Starter.
func Be(ctx context.Context, role string, words []string, out io.Writer) error {
	switch {
	case role == RoleSite && len(words) == 4:
		reserve, err := strconv.ParseUint(words[3], 10, 64)
		if err != nil {
			return err
		}
		return Site(ctx, words[0], words[1], words[2], reserve, out)
	case role == RoleNATS && len(words) == 2:
		port, err := strconv.Atoi(words[1])
		if err != nil {
			return err
		}
		return NATS(ctx, words[0], port, out)
	}
	return fmt.Errorf("%q with %d words is no role under torture", role, len(words))
}
