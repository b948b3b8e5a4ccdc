package relay

import (
	"context"
	"errors"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/note"

	"zonule/services/ledger/checkpoint"
)

// HeaderKey holds the verifier key of the site in the message of a checkpoint.
const HeaderKey = "Zonule-Verifier-Key"

// signedKept is how many checkpoints their stream keeps. One is enough to verify everything before it.
const signedKept = 16

// openSigned makes the stream of checkpoints when it is not there. Nothing is lost when it is lost: the next checkpoint
// covers all.
func (r *Relay) openSigned(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, ackWait)
	defer cancel()
	name := SignedName(r.Ledger.Programme(), r.Ledger.Site())
	r.signed = 0
	_, err := r.js.Stream(ctx, name)
	if !errors.Is(err, jetstream.ErrStreamNotFound) {
		return err
	}
	_, err = r.js.CreateStream(ctx, jetstream.StreamConfig{
		Name: name, Description: "Checkpoints of the ledger of site " + r.Ledger.Site(),
		Subjects: []string{SignedSubject(r.Ledger.Programme(), r.Ledger.Site())},
		Storage:  jetstream.FileStorage, Replicas: r.Replicas, MaxMsgs: signedKept, Discard: jetstream.DiscardOld,
	})
	return err
}

// publishSigned publishes the newest checkpoint when everything it covers was carried.
func (r *Relay) publishSigned(ctx context.Context, carried uint64) error {
	signed, err := r.Ledger.LastCheckpoint(r.Ledger.Site())
	if err != nil || signed == nil {
		return nil // the ledger says why, where it is asked
	}
	owner, err := note.NewVerifier(r.Ledger.VerifierKey())
	if err != nil {
		return err
	}
	cp, err := checkpoint.Open(signed, owner)
	if err != nil || cp.Size <= r.signed || cp.Size > carried {
		return nil
	}
	msg := nats.NewMsg(SignedSubject(r.Ledger.Programme(), r.Ledger.Site()))
	msg.Data = signed
	msg.Header.Set(HeaderKey, r.Ledger.VerifierKey())
	ctx, cancel := context.WithTimeout(ctx, ackWait)
	defer cancel()
	if _, err := r.js.PublishMsg(ctx, msg); err != nil {
		return err
	}
	r.signed = cp.Size
	return nil
}

// LastSigned reads the newest checkpoint of a site from its stream, with the verifier key that was sent with it; nil when
// there is none. Neither is verified here.
func LastSigned(ctx context.Context, js jetstream.JetStream, programme, site string) (signed []byte, verifierKey string, err error) {
	ctx, cancel := context.WithTimeout(ctx, resumeWait)
	defer cancel()
	stream, err := js.Stream(ctx, SignedName(programme, site))
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil, "", nil
	}
	if err != nil {
		return nil, "", err
	}
	msg, err := stream.GetLastMsgForSubject(ctx, SignedSubject(programme, site))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, "", nil
	}
	if err != nil {
		return nil, "", err
	}
	return msg.Data, msg.Header.Get(HeaderKey), nil
}
