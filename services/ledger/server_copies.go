package ledger

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// Following says what the following of another site is doing; state and sentence are for people.
type Following func(site string) (state, sentence string)

// WithFollowing makes ListCopies tell what the following is doing.
func (s *Server) WithFollowing(f Following) *Server {
	s.following = f
	return s
}

// GetCheckpoint gives a signed checkpoint.
func (s *Server) GetCheckpoint(ctx context.Context, req *ledgerv1.GetCheckpointRequest) (*ledgerv1.GetCheckpointResponse, error) {
	site := req.GetSite()
	if site == "" {
		site = s.ledger.site
	}
	signed, err := s.ledger.checkpointFor(ctx, site, req.GetSize())
	if err != nil {
		return nil, err
	}
	snap, err := s.ledger.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	key, known, err := snap.pinned(site)
	if err != nil {
		return nil, outward(err)
	}
	if !known {
		return nil, fault.New(codes.NotFound, "NO_SUCH_COPY", fmt.Sprintf("Nothing is kept here of the ledger of site %q.", site), "site", site)
	}
	if signed == nil {
		return nil, fault.New(codes.NotFound, "NO_SUCH_CHECKPOINT", "No such checkpoint is kept. Kept are the newest one, and those that were cosigned; an empty ledger has none.", "site", site)
	}
	return &ledgerv1.GetCheckpointResponse{Note: string(signed), VerifierKey: key}, nil
}

// checkpointFor finds a checkpoint, or makes one of the present head. Nil when there is none.
func (l *Ledger) checkpointFor(ctx context.Context, site string, size uint64) ([]byte, error) {
	if size == 0 && site == l.site {
		return l.Checkpoint(ctx)
	}
	newest, err := l.LastCheckpoint(site)
	if size == 0 || err != nil {
		return newest, err
	}
	if kept, err := l.CheckpointAt(site, size); kept != nil || err != nil || newest == nil {
		return kept, err
	}
	snap, err := l.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	cp, signed, ok, err := snap.checkpoint(newestKey(site))
	if err != nil || !ok || cp.Size != size {
		return nil, err
	}
	return signed, nil
}

// ListCopies says how far the copies of other sites' ledgers are.
func (s *Server) ListCopies(context.Context, *ledgerv1.ListCopiesRequest) (*ledgerv1.ListCopiesResponse, error) {
	copies, err := s.ledger.Copies()
	if err != nil {
		return nil, err
	}
	answer := &ledgerv1.ListCopiesResponse{}
	for _, c := range copies {
		one := &ledgerv1.LedgerCopy{Site: c.Site, VerifierKey: c.VerifierKey, Received: c.Received, Verified: c.Verified, Folded: c.Folded}
		if s.following != nil {
			one.State, one.Sentence = s.following(c.Site)
		}
		answer.Copies = append(answer.Copies, one)
	}
	return answer, nil
}
