package relay

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

var errAway = errors.New("no answer came in time")

// failingStream publishes, and says of some messages that it could not: after having sent them, or instead.
type failingStream struct {
	jetstream.JetStream
	kept bool
	left atomic.Int64 // publishes until one fails; below zero none does any more
}

// failedFuture is a publish of which no answer will come.
type failedFuture struct {
	jetstream.PubAckFuture
	msg *nats.Msg
}

func (f failedFuture) Ok() <-chan *jetstream.PubAck { return nil }
func (f failedFuture) Msg() *nats.Msg               { return f.msg }
func (f failedFuture) Err() <-chan error {
	c := make(chan error, 1)
	c <- errAway
	return c
}

func (s *failingStream) PublishMsgAsync(msg *nats.Msg, o ...jetstream.PublishOpt) (jetstream.PubAckFuture, error) {
	if s.left.Add(-1) != 0 {
		return s.JetStream.PublishMsgAsync(msg, o...)
	}
	if s.kept {
		future, err := s.JetStream.PublishMsgAsync(msg, o...)
		if err != nil {
			return nil, err
		}
		select { // it has landed when it is said to have failed
		case <-future.Ok():
		case <-future.Err():
		}
	}
	return failedFuture{msg: msg}, nil
}

// TestPublishFailures is the relay's part of the table of write failures: a publish that fails and is lost, and one that
// fails and was kept. Either way the stream must hold every entry once and in order in the end, and recording goes on.
func TestPublishFailures(t *testing.T) {
	for name, kept := range map[string]bool{"fails and is lost": false, "fails but is kept": true} {
		for _, which := range []int64{1, 2, 7, 30} {
			t.Run(name, func(t *testing.T) {
				l := openLedger(t, t.TempDir())
				_, nc := startServer(t, t.TempDir())
				record(t, l, 30)
				r, err := New(Config{Ledger: l, Conn: nc, Logger: quiet()})
				if err != nil {
					t.Fatal(err)
				}
				failing := &failingStream{JetStream: r.js, kept: kept}
				failing.left.Store(which)
				r.js = failing
				ctx, cancel := context.WithCancel(context.Background())
				done := make(chan struct{})
				go func() { _ = r.Run(ctx); close(done) }()
				t.Cleanup(func() { cancel(); <-done })
				until(t, r, UpToDate)
				record(t, l, 10)
				until(t, r, UpToDate)
				mustBeCopy(t, l, nc)
				if failing.left.Load() > 0 {
					t.Error("nothing failed; the test shows nothing")
				}
			})
		}
	}
}
