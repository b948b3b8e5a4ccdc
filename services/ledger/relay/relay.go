// Package relay carries a site's ledger, entry by entry and in order, to a JetStream stream.
//
// The ledger is the truth and the stream is a copy. NATS may be away for a week: the ledger records on, and the relay
// catches up when NATS is back. Every message is an entry's stored bytes, under a subject made of programme, site, kind
// and subject (see Subject), with the message id <site>-<sequence> and the entry's leaf hash in a header.
//
// A stream never gets an entry twice or out of order: each publish names the stream sequence it expects to follow, and
// whenever anything went wrong the relay reads the stream's last message and goes on from there. The cursor in the
// ledger only remembers that the stream exists and about how far it is. A stream that should exist and does not is
// never made anew: a NATS server that cannot read its files says "not found", and creating over them would delete them.
// A stream that is ahead of the ledger, or that holds another entry than the ledger, stops the relay: someone's history
// was lost or rewritten, and sending on would hide it.
package relay

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
)

// Headers of a message, beside NATS's own message id.
const (
	HeaderLeaf     = "Zonule-Leaf"     // the entry's RFC 6962 leaf hash, base64
	HeaderSequence = "Zonule-Sequence" // the entry's sequence, decimal
)

const (
	window        = 256              // how many messages are on their way at once
	ackWait       = 10 * time.Second // a cluster may take that long to answer when a leader changes
	resumeWait    = 5 * time.Second  // a question asked while the connection breaks is never answered
	cursorEvery   = time.Second      // how often the cursor is written while carrying
	shortestPause = 100 * time.Millisecond
	longestPause  = 10 * time.Second
)

// Config says what is carried where. Ledger and Conn are required.
type Config struct {
	Ledger *ledger.Ledger
	// Conn is a connection that reconnects by itself for ever.
	Conn *nats.Conn
	// Where names the NATS servers when the ledger is carried to several; empty for its own.
	Where string
	// Replicas is how many servers keep the stream; 1 when 0. It matters only when the stream is made.
	Replicas int
	// Logger is told when carrying stops and goes on; slog.Default() when nil.
	Logger *slog.Logger
}

// State is what the relay is doing.
type State string

// The states of a relay.
const (
	CatchingUp State = "catching up" // entries wait to be carried
	UpToDate   State = "up to date"
	Waiting    State = "waiting for NATS"
	Refusing   State = "refusing" // someone must decide; see the sentence
)

// Status is how far a relay is.
type Status struct {
	State    State
	Carried  uint64 // the last entry known to be in the stream
	Size     uint64 // of the ledger
	Sentence string // why it waits or refuses
}

// Relay carries one ledger.
type Relay struct {
	Config
	js        jetstream.JetStream
	name      string // of the stream
	cursor    string // its name in the ledger
	signed    uint64 // the size of the checkpoint published last
	written   uint64 // the cursor as last written
	writtenAt time.Time

	mu     sync.Mutex
	status Status
}

// New makes a relay; Run sets it going.
func New(c Config) (*Relay, error) {
	if c.Ledger == nil || c.Conn == nil {
		return nil, fault.New(codes.Internal, "RELAY_INCOMPLETE", "A relay needs a ledger and a connection. This is a mistake in the program.")
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	c.Replicas = max(c.Replicas, 1)
	js, err := jetstream.New(c.Conn, jetstream.WithPublishAsyncTimeout(ackWait), jetstream.WithPublishAsyncMaxPending(2*window))
	if err != nil {
		return nil, err
	}
	r := &Relay{Config: c, js: js, name: StreamName(c.Ledger.Programme(), c.Ledger.Site()), status: Status{State: Waiting}}
	if r.cursor = r.name; c.Where != "" {
		r.cursor += "@" + c.Where
	}
	return r, nil
}

// Status says how far the relay is.
func (r *Relay) Status() Status {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.status
	s.Size = r.Ledger.Head().Size
	if s.State == UpToDate && s.Carried < s.Size {
		s.State = CatchingUp
	}
	return s
}

func (r *Relay) set(change func(*Status)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.status)
}

// Run carries until ctx ends or the ledger is closed, and returns why. Anything else that stops it, a refusal included,
// is shown in the status and tried again, at longer and longer intervals up to ten seconds.
func (r *Relay) Run(ctx context.Context) error {
	for pause := shortestPause; ; pause = min(2*pause, longestPause) {
		before := r.Status().Carried
		err := r.carry(ctx)
		if ctx.Err() != nil {
			r.keepCursor(true)
			return ctx.Err()
		}
		if fault.Reason(err) == "LEDGER_CLOSED" {
			return err
		}
		if r.Status().Carried > before {
			pause = shortestPause
		}
		r.report(err)
		select {
		case <-time.After(pause):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// report shows and logs what stopped the relay; once for the same trouble.
func (r *Relay) report(err error) {
	state, sentence := Waiting, "NATS cannot be reached; entries are recorded all the same and will be carried later."
	if code := fault.Code(err); code == codes.DataLoss || code == codes.FailedPrecondition {
		state, sentence = Refusing, fault.From(err).Sentence
	}
	was := r.Status()
	r.set(func(s *Status) { s.State, s.Sentence = state, sentence })
	if was.State != state || was.Sentence != sentence {
		r.Logger.Warn("the relay has stopped carrying", "stream", r.name, "state", string(state), "carried", was.Carried, "error", err)
	}
}
