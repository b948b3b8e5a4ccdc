package relay

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
)

// place is where the stream stands.
type place struct {
	entry  uint64 // the last ledger entry in it
	stream uint64 // the stream's own last sequence
}

// carry finds the stream and where it stands, and then publishes until something goes wrong.
func (r *Relay) carry(ctx context.Context) error {
	at, err := r.resume(ctx)
	if err != nil {
		return err
	}
	if err := r.openSigned(ctx); err != nil {
		return err
	}
	r.Logger.Info("the relay carries", "stream", r.name, "from", at.entry+1, "size", r.Ledger.Head().Size)
	for {
		if at.entry >= r.Ledger.Head().Size {
			r.keepCursor(false)
			r.set(func(s *Status) { s.State = UpToDate })
			if err := r.publishSigned(ctx, at.entry); err != nil {
				return err
			}
		}
		if err := r.await(ctx, at.entry); err != nil {
			return err
		}
		run, err := r.Ledger.Stored(ctx, at.entry+1, window)
		if err != nil {
			return err
		}
		if err := r.publish(ctx, &at, run); err != nil {
			return err
		}
		r.keepCursor(false)
	}
}

// await waits for an entry behind the last one carried; meanwhile it writes the cursor and carries checkpoints.
func (r *Relay) await(ctx context.Context, carried uint64) error {
	for {
		short, cancel := context.WithTimeout(ctx, cursorEvery)
		err := r.Ledger.Await(short, carried+1)
		cancel()
		if err == nil || ctx.Err() != nil || !errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		r.keepCursor(false)
		if err := r.publishSigned(ctx, carried); err != nil {
			return err
		}
	}
}

// publish sends a run of entries and waits until all are acknowledged, moving the place on with each.
func (r *Relay) publish(ctx context.Context, at *place, run []ledger.Stored) error {
	futures := make([]jetstream.PubAckFuture, 0, len(run))
	var failed error
	for i, one := range run {
		msg, err := Message(one)
		if err != nil {
			failed = err
			break
		}
		future, err := r.js.PublishMsgAsync(msg,
			jetstream.WithMsgID(MessageID(r.Ledger.Site(), one.Sequence)),
			jetstream.WithExpectStream(r.name),
			jetstream.WithExpectLastSequence(at.stream+uint64(i)),
			jetstream.WithStallWait(ackWait), jetstream.WithRetryAttempts(0))
		if err != nil {
			failed = err
			break
		}
		futures = append(futures, future)
	}
	for _, future := range futures { // all are waited for: none may be on its way when the stream is read again
		select {
		case ack := <-future.Ok():
			if failed == nil && ack.Sequence != at.stream+1 {
				failed = fmt.Errorf("entry %d was stored as message %d of the stream, not %d", at.entry+1, ack.Sequence, at.stream+1)
			}
			if failed == nil {
				at.entry, at.stream = at.entry+1, at.stream+1
			}
		case err := <-future.Err():
			if failed == nil {
				failed = err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	r.set(func(s *Status) {
		s.Carried = at.entry
		if failed == nil {
			s.State, s.Sentence = CatchingUp, ""
		}
	})
	return failed
}

// Message makes the message of an entry.
func Message(one ledger.Stored) (*nats.Msg, error) {
	e, err := one.Entry()
	if err != nil {
		return nil, err
	}
	msg := nats.NewMsg(Subject(e.GetProgramme(), e.GetSite(), e.GetKind(), e.GetSubjectId()))
	msg.Data = one.Bytes
	msg.Header.Set(HeaderLeaf, base64.StdEncoding.EncodeToString(one.Leaf[:]))
	msg.Header.Set(HeaderSequence, strconv.FormatUint(one.Sequence, 10))
	return msg, nil
}

// keepCursor writes the cursor, at most once in a while unless it must.
func (r *Relay) keepCursor(must bool) {
	carried := r.Status().Carried
	if carried == r.written || !must && time.Since(r.writtenAt) < cursorEvery {
		return
	}
	if err := r.Ledger.SetCursor(r.cursor, carried); err != nil {
		r.Logger.Warn("the relay's cursor was not written; it will be found again from the stream", "stream", r.name, "error", err)
		return
	}
	r.written, r.writtenAt = carried, time.Now()
}

// resume finds the stream, or makes it if it never existed, and reads where it stands.
func (r *Relay) resume(ctx context.Context) (place, error) {
	ctx, cancel := context.WithTimeout(ctx, resumeWait)
	defer cancel()
	if err := r.Conn.FlushWithContext(ctx); err != nil { // fails at once on a connection that breaks; a question would wait
		return place{}, err
	}
	cursor, known, err := r.Ledger.Cursor(r.cursor)
	if err != nil {
		return place{}, err
	}
	stream, err := r.js.Stream(ctx, r.name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		if known {
			return place{}, fault.New(codes.FailedPrecondition, "COPY_MISSING",
				fmt.Sprintf("The stream %q, to which %d entries were carried, is not there. It is not made anew, for that could delete what NATS cannot read at the moment. See that NATS uses its old files and keys, or restore them.", r.name, cursor))
		}
		stream, err = r.create(ctx)
	}
	if err != nil {
		return place{}, err
	}
	at, err := r.last(ctx, stream)
	if err != nil {
		return place{}, err
	}
	if at.entry < cursor {
		r.Logger.Warn("the stream has lost its end; sending it again", "stream", r.name, "has", at.entry, "had", cursor)
	}
	r.set(func(s *Status) { s.Carried, s.State, s.Sentence = at.entry, CatchingUp, "" })
	if !known {
		if err := r.Ledger.SetCursor(r.cursor, at.entry); err != nil {
			return place{}, err
		}
		r.written, r.writtenAt = at.entry, time.Now()
	}
	return at, nil
}

// create makes the stream. Nobody may delete from it: it is a copy of an append-only log.
func (r *Relay) create(ctx context.Context) (jetstream.Stream, error) {
	return r.js.CreateStream(ctx, jetstream.StreamConfig{
		Name:        r.name,
		Description: "A copy of the ledger of site " + r.Ledger.Site(),
		Subjects:    []string{SitePrefix(r.Ledger.Programme(), r.Ledger.Site()) + ">"},
		Storage:     jetstream.FileStorage,
		Replicas:    r.Replicas,
		Duplicates:  2 * time.Minute,
		DenyDelete:  true,
		DenyPurge:   true,
		AllowDirect: true,
	})
}

// last reads the stream's last message and compares it with the ledger.
func (r *Relay) last(ctx context.Context, stream jetstream.Stream) (place, error) {
	info, err := stream.Info(ctx)
	if err != nil {
		return place{}, err
	}
	end := info.State.LastSeq
	for sequence := end; sequence > 0; sequence-- {
		msg, err := stream.GetMsg(ctx, sequence)
		if errors.Is(err, jetstream.ErrMsgNotFound) { // lost by the stream; the entry will be sent again behind it
			continue
		}
		if err != nil {
			return place{}, err
		}
		entry, err := r.compare(ctx, msg)
		return place{entry: entry, stream: end}, err
	}
	return place{stream: end}, nil
}

// compare makes sure that a message is what the ledger has under its sequence.
func (r *Relay) compare(ctx context.Context, msg *jetstream.RawStreamMsg) (uint64, error) {
	sequence, err := strconv.ParseUint(msg.Header.Get(HeaderSequence), 10, 64)
	if err != nil {
		return 0, fault.New(codes.FailedPrecondition, "NOT_A_COPY", fmt.Sprintf("The stream %q holds messages that are not a ledger's. Move it away or use another NATS account.", r.name))
	}
	if size := r.Ledger.Head().Size; sequence > size {
		return 0, fault.New(codes.DataLoss, "LEDGER_BEHIND_COPY", fmt.Sprintf("The ledger ends at entry %d, but its copy in the stream %q has entry %d. The ledger has lost its end; restore it from the copy before anything else is recorded.", size, r.name, sequence))
	}
	run, err := r.Ledger.Stored(ctx, sequence, 1)
	if err != nil {
		return 0, err
	}
	if base64.StdEncoding.EncodeToString(run[0].Leaf[:]) != msg.Header.Get(HeaderLeaf) {
		return 0, fault.New(codes.DataLoss, "COPY_DIFFERS", fmt.Sprintf("Entry %d in the stream %q is not the entry %d of the ledger. One of them was rewritten or belongs to another ledger; compare both with a checkpoint.", sequence, r.name, sequence))
	}
	if tlog.RecordHash(msg.Data) != run[0].Leaf {
		r.Logger.Warn("the stream's last message is damaged; the ledger's entry is not", "stream", r.name, "entry", sequence)
	}
	return sequence, nil
}
