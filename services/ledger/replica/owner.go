package replica

import (
	"context"
	"log/slog"

	"github.com/nats-io/nats.go"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
)

const (
	mostAnswered  = 1000
	answerBytes   = 700 << 10 // a NATS message holds 1 MiB; a single entry, at most 512 KiB, always fits
	answerAtOnce  = 4         // questions answered at the same time
	questionsKept = 64        // and waiting; more are dropped, and asked again by whoever asked
)

// Owner answers what other sites ask about this site's ledger, over one connection, from the ledger's own store.
type Owner struct {
	Ledger *ledger.Ledger
	Conn   *nats.Conn
	Logger *slog.Logger
}

// Run answers until ctx ends.
func (o Owner) Run(ctx context.Context) error {
	questions := make(chan *nats.Msg, questionsKept)
	subscription, err := o.Conn.QueueSubscribe(relay.AskSubject(o.Ledger.Programme(), o.Ledger.Site()), "owner", func(m *nats.Msg) {
		select {
		case questions <- m:
		default:
		}
	})
	if err != nil {
		return err
	}
	defer func() { _ = subscription.Unsubscribe() }()
	done := make(chan struct{})
	for range answerAtOnce {
		go func() {
			defer func() { done <- struct{}{} }()
			for {
				select {
				case m := <-questions:
					o.answer(ctx, m)
				case <-ctx.Done():
					return
				}
			}
		}()
	}
	for range answerAtOnce {
		<-done
	}
	return ctx.Err()
}

func (o Owner) answer(ctx context.Context, m *nats.Msg) {
	ctx, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	question, answer := &ledgerv1.Ask{}, &ledgerv1.Answer{}
	err := proto.Unmarshal(m.Data, question)
	if err == nil {
		answer, err = o.find(ctx, question)
	}
	if err != nil {
		f := fault.From(err)
		answer = &ledgerv1.Answer{Answer: &ledgerv1.Answer_Refusal{Refusal: &ledgerv1.Refusal{Reason: f.Reason, Sentence: f.Sentence}}}
	}
	b, err := proto.Marshal(answer)
	if err == nil {
		err = m.Respond(b)
	}
	if err != nil {
		o.Logger.Info("a question of another site was not answered", "error", err)
	}
}

func (o Owner) find(ctx context.Context, question *ledgerv1.Ask) (*ledgerv1.Answer, error) {
	switch q := question.GetQuestion().(type) {
	case *ledgerv1.Ask_Entries:
		run, err := o.entries(ctx, q.Entries)
		return &ledgerv1.Answer{Answer: &ledgerv1.Answer_Entries{Entries: run}}, err
	case *ledgerv1.Ask_Checkpoint:
		signed, err := o.Ledger.Checkpoint(ctx)
		return &ledgerv1.Answer{Answer: &ledgerv1.Answer_Checkpoint{Checkpoint: &ledgerv1.GetCheckpointResponse{Note: string(signed), VerifierKey: o.Ledger.VerifierKey()}}}, err
	case *ledgerv1.Ask_Cosignature:
		err := o.Ledger.AddCosignature(ctx, q.Cosignature.GetSite(), q.Cosignature.GetVerifierKey(), []byte(q.Cosignature.GetNote()))
		return &ledgerv1.Answer{Answer: &ledgerv1.Answer_Kept{Kept: &ledgerv1.CosignatureKept{}}}, err
	}
	return &ledgerv1.Answer{Answer: &ledgerv1.Answer_Refusal{Refusal: &ledgerv1.Refusal{Reason: "NOT_UNDERSTOOD", Sentence: "This program does not know the question. Use the newer one at both sites."}}}, nil
}

// entries reads a run from the store, as much as fits a message.
func (o Owner) entries(ctx context.Context, q *ledgerv1.ListEntriesRequest) (*ledgerv1.ListEntriesResponse, error) {
	from := max(q.GetFrom(), 1)
	run, err := o.Ledger.Stored(ctx, from, int(min(max(q.GetLimit(), 1), mostAnswered)))
	if err != nil {
		return nil, err
	}
	answer, size := &ledgerv1.ListEntriesResponse{Size: o.Ledger.Head().Size}, 0
	for i, one := range run {
		if size += len(one.Bytes) + 48; i > 0 && size > answerBytes {
			break
		}
		answer.Entries = append(answer.Entries, &ledgerv1.ListedEntry{Stored: one.Bytes, LeafHash: one.Leaf[:]})
	}
	answer.NextFrom = from + uint64(len(answer.GetEntries()))
	return answer, nil
}
