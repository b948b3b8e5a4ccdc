package replica

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
)

const (
	batch    = 512                    // entries received at once, at most
	lookFast = 100 * time.Millisecond // how soon a checkpoint is looked for when something waits for one
	lookSlow = time.Second            // and when nothing does
	stalled  = 3 * time.Second        // without an entry that a checkpoint speaks of, the owner is asked for it
)

// follow reads the stream until something goes wrong, and says what.
func (r *Replica) follow(ctx context.Context) error {
	short, cancel := context.WithTimeout(ctx, answerWait)
	err := r.Conn.FlushWithContext(short) // fails at once on a connection that breaks; a question would wait
	cancel()
	if err != nil {
		return err
	}
	if err := r.meet(ctx); err != nil {
		return err
	}
	if err := r.settle(ctx); err != nil { // what was left from the last time
		return err
	}
	at, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return err
	}
	messages, stop, err := r.read(ctx, at.Received+1)
	if err != nil {
		return err
	}
	defer stop()
	return r.take(ctx, messages)
}

// meet makes sure that the site's key is known.
func (r *Replica) meet(ctx context.Context) error {
	known, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return err
	}
	key := r.VerifierKey
	if key == "" && known.VerifierKey != "" {
		return nil
	}
	if key == "" {
		if _, key, err = r.newest(ctx); err != nil {
			return err
		}
	}
	if key == "" {
		return fault.New(codes.Unavailable, "SITE_NOT_HEARD", "Site "+r.Site+" has not been heard of yet; it is followed as soon as it is.")
	}
	return r.Ledger.OpenCopy(ctx, r.Site, key)
}

// arrival is what the reader of the stream hands on.
type arrival struct {
	msg jetstream.Msg
	err error
}

// read begins to read the stream. Entry n lies at the stream's own sequence n or, where the stream lost something and it
// was sent again, behind it.
func (r *Replica) read(ctx context.Context, from uint64) (<-chan arrival, func(), error) {
	asked, cancel := context.WithTimeout(ctx, streamWait)
	defer cancel()
	name := relay.StreamName(r.Ledger.Programme(), r.Site)
	if _, err := r.js.Stream(asked, name); err != nil {
		return nil, nil, err
	}
	consumer, err := r.js.OrderedConsumer(asked, name, jetstream.OrderedConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: from, MaxResetAttempts: resets,
	})
	if err != nil {
		return nil, nil, err
	}
	messages, done := make(chan arrival, batch), make(chan struct{})
	hand := func(a arrival) {
		select {
		case messages <- a:
		case <-done:
		}
	}
	reading, err := consumer.Consume(func(m jetstream.Msg) { hand(arrival{msg: m}) }, jetstream.ConsumeErrHandler(func(_ jetstream.ConsumeContext, err error) {
		if errors.Is(err, jetstream.ErrOrderedConsumerReset) || errors.Is(err, jetstream.ErrStreamNotFound) {
			hand(arrival{err: err})
		}
	}))
	if err != nil {
		return nil, nil, err
	}
	return messages, func() { close(done); reading.Stop(); <-reading.Closed() }, nil // the next reading must not overlap
}

// take receives what arrives, in batches, and looks for checkpoints that cover it.
func (r *Replica) take(ctx context.Context, messages <-chan arrival) error {
	look := time.NewTimer(0)
	defer look.Stop()
	moved := time.Now()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case first := <-messages:
			n, err := r.receive(ctx, first, messages)
			if err != nil {
				return err
			}
			if n > 0 {
				moved = time.Now()
				look.Reset(0)
			}
		case <-look.C:
			again := lookSlow
			stuck := time.Since(moved) > stalled
			if stuck {
				moved = time.Now()
			}
			switch waiting, err := r.verify(ctx, stuck); {
			case err != nil:
				return err
			case waiting:
				again = lookFast
			}
			if !r.Conn.IsConnected() {
				return errors.New("the connection to NATS is away")
			}
			look.Reset(again)
		}
	}
}

// receive gathers what has arrived into entries that follow one another, and keeps them.
func (r *Replica) receive(ctx context.Context, first arrival, messages <-chan arrival) (int, error) {
	at, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return 0, err
	}
	next, run := at.Received+1, []ledger.Stored(nil)
	keep := func() error {
		err := r.Ledger.Receive(ctx, r.Site, run)
		if fault.Reason(err) == "NOT_AN_ENTRY" { // someone else wrote into the stream
			r.Logger.Warn("the stream holds what is not an entry; asking the owner", "site", r.Site, "error", err)
			_, err = r.resend(ctx, next, next+uint64(len(run))-1)
		}
		next, run = next+uint64(len(run)), nil
		return err
	}
	n, size := 0, 0
	for a, more := first, true; more; {
		if a.err != nil {
			return n, errors.Join(keep(), a.err)
		}
		one, sequence, whole := entry(a.msg)
		switch want := next + uint64(len(run)); {
		case sequence < want: // had already
		case sequence == want && whole:
			run = append(run, one)
			size += len(one.Bytes)
			n++
		default:
			last := sequence - 1
			if !whole {
				last = sequence
			}
			if err := keep(); err != nil {
				return n, err
			}
			r.Logger.Warn("entries are missing from the stream, or damaged in it; asking their owner", "site", r.Site, "from", next, "to", last)
			got, err := r.resend(ctx, next, last)
			if err != nil {
				return n, err
			}
			next += got
			n += int(got)
			if whole {
				run = append(run, one)
				n++
			}
		}
		more = len(run) < batch && size < 4<<20
		if more {
			select {
			case a = <-messages:
			default:
				more = false
			}
		}
	}
	return n, keep()
}

// entry reads a message. Whole says whether its bytes are those its header speaks of.
func entry(m jetstream.Msg) (one ledger.Stored, sequence uint64, whole bool) {
	sequence, err := strconv.ParseUint(m.Headers().Get(relay.HeaderSequence), 10, 64)
	if err != nil {
		return one, 0, false
	}
	one = ledger.Stored{Sequence: sequence, Bytes: m.Data(), Leaf: tlog.RecordHash(m.Data())}
	return one, sequence, base64.StdEncoding.EncodeToString(one.Leaf[:]) == m.Headers().Get(relay.HeaderLeaf)
}

// resend asks the owner for entries and keeps them. It gives how many came.
func (r *Replica) resend(ctx context.Context, from, to uint64) (uint64, error) {
	got := uint64(0)
	for from+got <= to {
		run, err := r.ask.entries(ctx, from+got, to-from-got+1)
		if err == nil && len(run) == 0 {
			err = errors.New("the owner gave none")
		}
		if err != nil {
			return got, fault.Wrap(err, codes.Unavailable, "ENTRIES_MISSING",
				fmt.Sprintf("Entries %d to %d of site %s are missing from the stream, or damaged in it, and the site cannot be asked for them now. It is tried again.", from+got, to, r.Site))
		}
		if err := r.Ledger.Receive(ctx, r.Site, run); err != nil {
			return got, err
		}
		got += uint64(len(run))
	}
	return got, nil
}
