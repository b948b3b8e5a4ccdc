package replica

import (
	"context"

	"github.com/nats-io/nats.go"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
)

// asker asks the owner of a ledger.
type asker struct {
	conn    *nats.Conn
	subject string
}

// put asks one question.
func (a asker) put(ctx context.Context, question *ledgerv1.Ask) (*ledgerv1.Answer, error) {
	b, err := proto.Marshal(question)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	msg, err := a.conn.RequestWithContext(ctx, a.subject, b)
	if err != nil {
		return nil, err
	}
	answer := &ledgerv1.Answer{}
	if err := proto.Unmarshal(msg.Data, answer); err != nil {
		return nil, err
	}
	if no := answer.GetRefusal(); no != nil {
		return nil, fault.New(codes.Unavailable, no.GetReason(), no.GetSentence())
	}
	return answer, nil
}

// entries asks for a run of entries, which may come in part. What is given is a run from the first on.
func (a asker) entries(ctx context.Context, from, count uint64) ([]ledger.Stored, error) {
	answer, err := a.put(ctx, &ledgerv1.Ask{Question: &ledgerv1.Ask_Entries{Entries: &ledgerv1.ListEntriesRequest{
		From: from, Limit: uint32(min(count, mostAnswered)), IncludeStored: true,
	}}})
	if err != nil {
		return nil, err
	}
	var run []ledger.Stored
	for i, e := range answer.GetEntries().GetEntries() {
		if uint64(i) == count {
			break
		}
		run = append(run, ledger.Stored{Sequence: from + uint64(i), Bytes: e.GetStored(), Leaf: tlog.RecordHash(e.GetStored())})
	}
	return run, nil
}

// checkpoint asks for a checkpoint of all the owner has. It is nil while the owner has nothing.
func (a asker) checkpoint(ctx context.Context) (signed []byte, verifierKey string, err error) {
	answer, err := a.put(ctx, &ledgerv1.Ask{Question: &ledgerv1.Ask_Checkpoint{Checkpoint: &ledgerv1.GetCheckpointRequest{}}})
	if err != nil {
		return nil, "", err
	}
	if s := answer.GetCheckpoint().GetNote(); s != "" {
		signed = []byte(s)
	}
	return signed, answer.GetCheckpoint().GetVerifierKey(), nil
}

// keep sends a cosignature.
func (a asker) keep(ctx context.Context, site, verifierKey string, signed []byte) error {
	_, err := a.put(ctx, &ledgerv1.Ask{Question: &ledgerv1.Ask_Cosignature{Cosignature: &ledgerv1.Cosignature{
		Site: site, VerifierKey: verifierKey, Note: string(signed),
	}}})
	return err
}
