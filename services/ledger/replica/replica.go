// Package replica follows another site's ledger over JetStream and keeps a verified copy of it beside the own.
//
// The ledger keeps the copy and decides what is believed (ledger.Receive, Accept, FoldCopy); this package brings it what
// it needs. It reads the stream that the owner's relay fills, from the first entry the copy has not; the copy itself is
// the position, so a replica that was killed or cut off goes on where it was, and no entry is taken twice. An entry that
// is missing from the stream, or damaged in it, is asked for from its owner, who answers from its own store (Owner).
// What was received counts for nothing until a checkpoint that the owner signed covers it; the checkpoint comes from the
// owner when it can be reached, else from the stream of checkpoints. Verified entries are folded into the views, and the
// checkpoint is cosigned and sent back.
//
// A site's key is remembered at the first contact and never replaced; give it in the Config to leave nothing to the first
// contact. A second history signed by the owner (FORK), entries that fit no checkpoint even when they come from the owner
// itself, and a key that changed stop the following: the status says so in a sentence, and nothing more is taken.
package replica

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
)

const (
	answerWait    = 5 * time.Second // for the owner's answer to a question
	streamWait    = 5 * time.Second // a question may be lost while a cluster finds itself; then it is asked again
	shortestPause = 100 * time.Millisecond
	longestPause  = 10 * time.Second
	resets        = 3 // an ordered consumer's own attempts before everything is looked at anew
)

// Config says what is followed. Ledger, Conn and Site are required.
type Config struct {
	Ledger *ledger.Ledger
	// Conn is a connection that reconnects by itself for ever.
	Conn *nats.Conn
	// Site is whose ledger is followed.
	Site string
	// VerifierKey is the site's key; when empty, the key it shows at the first contact is taken and remembered.
	VerifierKey string
	// CosignEvery is how often a checkpoint is cosigned at most; a minute when 0.
	CosignEvery time.Duration
	// Logger is told when following stops and goes on; slog.Default() when nil.
	Logger *slog.Logger
}

// State is what a replica is doing.
type State string

// The states of a replica.
const (
	CatchingUp State = "catching up" // also while the owner or NATS cannot be reached
	UpToDate   State = "up to date"  // with what is in the stream
	Refusing   State = "refusing"    // someone must decide; see the sentence
)

// Status is how far a replica is.
type Status struct {
	State    State
	Received uint64
	Folded   uint64
	Sentence string // why it waits or refuses
}

// Replica follows one site.
type Replica struct {
	Config
	js       jetstream.JetStream
	ask      asker
	held     []byte    // a checkpoint that covers more than was received so far
	cosigned uint64    // the size of the checkpoint that was cosigned and sent last
	signedAt time.Time // when

	mu     sync.Mutex
	status Status
}

// New makes a replica; Run sets it going.
func New(c Config) (*Replica, error) {
	if c.Ledger == nil || c.Conn == nil || c.Site == "" {
		return nil, fault.New(codes.Internal, "REPLICA_INCOMPLETE", "A replica needs a ledger, a connection and a site. This is a mistake in the program.")
	}
	if c.Site == c.Ledger.Site() {
		return nil, fault.New(codes.InvalidArgument, "OWN_SITE", "Site "+c.Site+" cannot follow itself.")
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	if c.CosignEvery == 0 {
		c.CosignEvery = time.Minute
	}
	js, err := jetstream.New(c.Conn)
	if err != nil {
		return nil, err
	}
	return &Replica{Config: c, js: js, ask: asker{c.Conn, relay.AskSubject(c.Ledger.Programme(), c.Site)}, status: Status{State: CatchingUp}}, nil
}

// Status says how far the replica is.
func (r *Replica) Status() Status {
	r.mu.Lock()
	s := r.status
	r.mu.Unlock()
	if c, err := r.Ledger.CopyOf(r.Site); err == nil {
		s.Received, s.Folded = c.Received, c.Folded
	}
	return s
}

// set shows a state; what is new is logged once.
func (r *Replica) set(state State, sentence string, err error) {
	r.mu.Lock()
	was := r.status
	r.status.State, r.status.Sentence = state, sentence
	r.mu.Unlock()
	if err != nil && (was.State != state || was.Sentence != sentence) {
		r.Logger.Warn("following is held up", "site", r.Site, "state", string(state), "says", sentence, "error", err)
	}
}

// Run follows until ctx ends or the ledger is closed, and returns why. Anything else that stops it, a refusal included,
// is shown in the status and tried again, at longer and longer intervals up to ten seconds.
func (r *Replica) Run(ctx context.Context) error {
	for pause := shortestPause; ; pause = min(2*pause, longestPause) {
		before := r.Status().Received
		err := r.follow(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if fault.Reason(err) == "LEDGER_CLOSED" {
			return err
		}
		if r.Status().Received > before {
			pause = shortestPause
		}
		state, sentence := judge(err, r.Site)
		r.set(state, sentence, err)
		select {
		case <-time.After(pause):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// judge says what an error means to whoever looks at the status.
func judge(err error, site string) (State, string) {
	switch f := fault.From(err); {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return CatchingUp, "Nothing of site " + site + " is in this NATS yet; it is followed as soon as it is."
	case f.Reason == "COPY_DAMAGED": // taken back already; it comes again
		return CatchingUp, f.Sentence
	case f.Code == codes.DataLoss || f.Code == codes.PermissionDenied || f.Code == codes.FailedPrecondition || f.Code == codes.InvalidArgument || f.Reason == "FOLD_FAILED":
		return Refusing, f.Sentence
	case f.Code == codes.Unavailable && f.Reason != "UNEXPECTED":
		return CatchingUp, f.Sentence
	}
	return CatchingUp, "The link is away; what site " + site + " records comes when it is back."
}
