package relay

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/tlog"

	"zonule/services/ledger"
)

// Copy reads a site's stream as a copy of its ledger: the ledger.Copy that damaged entries and a lost end are put back
// from.
type Copy struct {
	js   jetstream.JetStream
	conn *nats.Conn
	name string
}

var _ ledger.Copy = (*Copy)(nil)

// NewCopy reads the stream of a site over a connection. The stream need not exist.
func NewCopy(conn *nats.Conn, programme, site string) (*Copy, error) {
	js, err := jetstream.New(conn)
	if err != nil {
		return nil, err
	}
	return &Copy{js: js, conn: conn, name: StreamName(programme, site)}, nil
}

// stream finds the stream; nil when there is none. A question asked while the server starts is lost, so it is asked
// again until the time is over.
func (c *Copy) stream(ctx context.Context) (stream jetstream.Stream, err error) {
	ctx, cancel := context.WithTimeout(ctx, 2*resumeWait)
	defer cancel()
	for {
		short, stop := context.WithTimeout(ctx, time.Second)
		if err = c.conn.FlushWithContext(short); err == nil {
			stream, err = c.js.Stream(short, c.name)
		}
		stop()
		if err == nil || ctx.Err() != nil {
			return stream, err
		}
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			return nil, nil
		}
		select {
		case <-time.After(shortestPause):
		case <-ctx.Done():
		}
	}
}

// End gives the sequence of the last entry in the stream; 0 when there is no stream, or nothing in it.
func (c *Copy) End(ctx context.Context) (uint64, error) {
	stream, err := c.stream(ctx)
	if err != nil || stream == nil {
		return 0, err
	}
	info, err := stream.Info(ctx)
	if err != nil {
		return 0, err
	}
	for at := info.State.LastSeq; at > 0; at-- {
		_, entry, err := message(ctx, stream, at)
		if err == nil || !errors.Is(err, jetstream.ErrMsgNotFound) {
			return entry, err
		}
	}
	return 0, nil
}

// At gives the bytes under an entry's sequence.
func (c *Copy) At(ctx context.Context, sequence uint64) ([]byte, error) {
	stream, err := c.stream(ctx)
	if err != nil {
		return nil, err
	}
	if stream == nil {
		return nil, fmt.Errorf("there is no stream %s", c.name)
	}
	return find(ctx, stream, sequence)
}

// Entry gives the bytes of the entry with that hash.
func (c *Copy) Entry(ctx context.Context, sequence uint64, leaf [32]byte) ([]byte, error) {
	b, err := c.At(ctx, sequence)
	if err == nil && tlog.RecordHash(b) != leaf {
		err = fmt.Errorf("the stream %s holds other bytes under entry %d", c.name, sequence)
	}
	return b, err
}

// find looks an entry up. Entries lie in the stream in order, each at the stream's own sequence of the same number or,
// where the stream lost something and it was sent again, at a later one.
func find(ctx context.Context, stream jetstream.Stream, sequence uint64) ([]byte, error) {
	info, err := stream.Info(ctx)
	if err != nil {
		return nil, err
	}
	low, high := sequence, info.State.LastSeq
	for at := low; low <= high; at = low + (high-low)/2 {
		msg, entry, where, err := nearest(ctx, stream, at, high)
		switch {
		case err != nil:
			return nil, err
		case msg == nil: // nothing from at to high
			if at == low {
				return nil, missing(stream, sequence)
			}
			high = at - 1
		case entry == sequence:
			return msg.Data, nil
		case entry < sequence:
			low = where + 1
		case at == low:
			return nil, missing(stream, sequence)
		default:
			high = at - 1
		}
	}
	return nil, missing(stream, sequence)
}

func missing(stream jetstream.Stream, sequence uint64) error {
	return fmt.Errorf("the stream %s has no entry %d", stream.CachedInfo().Config.Name, sequence)
}

// nearest gives the first message from a stream sequence on, with its entry's sequence and its own.
func nearest(ctx context.Context, stream jetstream.Stream, from, to uint64) (msg *jetstream.RawStreamMsg, entry, at uint64, err error) {
	for at = from; at <= to; at++ {
		msg, entry, err = message(ctx, stream, at)
		if !errors.Is(err, jetstream.ErrMsgNotFound) {
			return msg, entry, at, err
		}
	}
	return nil, 0, 0, nil
}

// message reads one message and which entry it is.
func message(ctx context.Context, stream jetstream.Stream, at uint64) (*jetstream.RawStreamMsg, uint64, error) {
	ctx, cancel := context.WithTimeout(ctx, resumeWait)
	defer cancel()
	msg, err := stream.GetMsg(ctx, at)
	if err != nil {
		return nil, 0, err
	}
	entry, err := strconv.ParseUint(msg.Header.Get(HeaderSequence), 10, 64)
	if err != nil {
		return nil, 0, fmt.Errorf("message %d of the stream is not a ledger's", at)
	}
	return msg, entry, nil
}
