package dashboard

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/proto"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// NATSFeed reads a site's committed entries from the JetStream stream that the ledger's relay fills. It reads the
// stream, never the subjects themselves: a plain subscription would also see what the stream refused.
type NATSFeed struct {
	// Conn is a connection that reconnects by itself for ever.
	Conn *nats.Conn
	// Stream is the stream's name.
	Stream string
	// Prefix is what the subjects of the site's entries begin with, up to and including the dot before the kind.
	Prefix string
	// Log is told when the feed waits; slog.Default() when nil.
	Log *slog.Logger
}

const (
	feedAnswer       = 10 * time.Second // a cluster may take that long when a leader changes
	feedShortestWait = 100 * time.Millisecond
	feedLongestWait  = 10 * time.Second
	feedResets       = 3 // an ordered consumer's own attempts before the stream is looked at anew
)

// feedPlace is how far a feed has read.
type feedPlace struct {
	known bool
	last  atomic.Uint64 // sequence in the stream
}

// Follow implements Feed.
func (n NATSFeed) Follow(ctx context.Context, kinds []string, give func(*ledgerv1.Entry)) error {
	log := n.Log
	if log == nil {
		log = slog.Default()
	}
	js, err := jetstream.New(n.Conn)
	if err != nil {
		return fmt.Errorf("the pages' feed cannot use NATS: %w", err)
	}
	var at feedPlace
	wait := feedShortestWait
	for {
		began := at.last.Load()
		err := n.read(ctx, js, kinds, &at, give)
		if ctx.Err() != nil {
			return nil
		}
		if at.last.Load() != began {
			wait = feedShortestWait
		}
		log.Warn("the pages are not told of new drills at the moment", "stream", n.Stream, "again_after", wait, "error", err)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(wait):
		}
		wait = min(2*wait, feedLongestWait)
	}
}

// read gives entries until something is wrong with the stream, and says what.
func (n NATSFeed) read(ctx context.Context, js jetstream.JetStream, kinds []string, at *feedPlace, give func(*ledgerv1.Entry)) error {
	if err := n.find(ctx, js, at, give); err != nil {
		return err
	}
	filters := make([]string, len(kinds))
	for i, k := range kinds {
		filters[i] = n.Prefix + k + ".>"
	}
	asked, done := context.WithTimeout(ctx, feedAnswer)
	defer done()
	consumer, err := js.OrderedConsumer(asked, n.Stream, jetstream.OrderedConsumerConfig{
		FilterSubjects: filters, DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: at.last.Load() + 1, MaxResetAttempts: feedResets,
	})
	if err != nil {
		return err
	}
	ended := make(chan error, 1)
	end := func(err error) {
		select {
		case ended <- err:
		default: // it has ended for another reason already
		}
	}
	reading, err := consumer.Consume(func(m jetstream.Msg) {
		if err := n.take(m, at, give); err != nil {
			end(err)
		}
	}, jetstream.ConsumeErrHandler(func(_ jetstream.ConsumeContext, err error) {
		if errors.Is(err, jetstream.ErrOrderedConsumerReset) || errors.Is(err, jetstream.ErrStreamNotFound) {
			end(err)
		}
	}))
	if err != nil {
		return err
	}
	defer func() { reading.Stop(); <-reading.Closed() }() // the next reading must not overlap this one
	select {
	case <-ctx.Done():
		return nil
	case err := <-ended:
		return err
	case <-reading.Closed():
		return errors.New("the reading of the stream ended")
	}
}

// find looks at the stream and settles where to read from: after the newest message at the first look, from the
// beginning when the stream did not exist then. A stream that has become shorter lost its end; the relay sends that
// again behind what is left.
func (n NATSFeed) find(ctx context.Context, js jetstream.JetStream, at *feedPlace, give func(*ledgerv1.Entry)) error {
	ctx, done := context.WithTimeout(ctx, feedAnswer)
	defer done()
	stream, err := js.Stream(ctx, n.Stream)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		at.known = true
		return err
	}
	if err != nil {
		return err
	}
	last := stream.CachedInfo().State.LastSeq
	switch {
	case !at.known:
		at.last.Store(last)
		at.known = true
		give(nil) // what was recorded before the first look was not given
	case last < at.last.Load():
		at.last.Store(last)
		give(nil)
	}
	return nil
}

// take gives one message's entry.
func (n NATSFeed) take(m jetstream.Msg, at *feedPlace, give func(*ledgerv1.Entry)) error {
	meta, err := m.Metadata()
	if err != nil {
		return fmt.Errorf("a message of the stream has no place: %w", err)
	}
	var e ledgerv1.Entry
	if err := proto.Unmarshal(m.Data(), &e); err != nil {
		give(nil) // something was recorded; the pages themselves read it from the offices
	} else {
		give(&e)
	}
	at.last.Store(meta.Sequence.Stream)
	return nil
}
