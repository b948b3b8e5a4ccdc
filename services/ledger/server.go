package ledger

import (
	"context"

	"golang.org/x/mod/sumdb/tlog"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// Server serves a ledger to whoever follows or audits it. Who may ask is decided before it is reached.
type Server struct {
	ledgerv1.UnimplementedLedgerServiceServer
	ledger    *Ledger
	following Following
}

// NewServer serves a ledger.
func NewServer(l *Ledger) *Server { return &Server{ledger: l} }

const (
	defaultListed = 100
	mostListed    = 1000
)

func (h Head) proto() *ledgerv1.Head {
	return &ledgerv1.Head{Site: h.Site, Size: h.Size, RootHash: h.Root[:]}
}

// GetHead gives the present head, waiting for a position when asked to.
func (s *Server) GetHead(ctx context.Context, req *ledgerv1.GetHeadRequest) (*ledgerv1.GetHeadResponse, error) {
	if err := s.ledger.fresh(ctx, req.GetAtLeast()); err != nil {
		return nil, err
	}
	snap, err := s.ledger.acquire()
	if err != nil {
		return nil, err
	}
	defer snap.release()
	return &ledgerv1.GetHeadResponse{Head: snap.head.proto()}, nil
}

// ListEntries gives a run of entries.
func (s *Server) ListEntries(ctx context.Context, req *ledgerv1.ListEntriesRequest) (*ledgerv1.ListEntriesResponse, error) {
	limit := defaultListed
	if n := req.GetLimit(); n > 0 {
		limit = int(min(n, mostListed))
	}
	from := max(req.GetFrom(), 1)
	run, err := s.ledger.Stored(ctx, from, limit)
	if err != nil {
		return nil, err
	}
	answer := &ledgerv1.ListEntriesResponse{NextFrom: from + uint64(len(run)), Size: s.ledger.Head().Size}
	size := 0
	for i, one := range run {
		e, err := one.Entry()
		if err != nil {
			return nil, err
		}
		listed := &ledgerv1.ListedEntry{Entry: e, LeafHash: one.Leaf[:]}
		size += len(one.Bytes)
		if req.GetIncludeStored() {
			listed.Stored = one.Bytes
			size += len(one.Bytes)
		}
		if i > 0 && size > answerBytes {
			answer.NextFrom = one.Sequence
			break
		}
		answer.Entries = append(answer.Entries, listed)
	}
	return answer, nil
}

// answerBytes keeps an answer under gRPC's usual limit of 4 MiB; a single entry always fits.
const answerBytes = 2 << 20

func hashBytes(hashes []tlog.Hash) [][]byte {
	b := make([][]byte, len(hashes))
	for i := range hashes {
		b[i] = hashes[i][:]
	}
	return b
}

// GetInclusionProof gives an entry's audit path.
func (s *Server) GetInclusionProof(_ context.Context, req *ledgerv1.GetInclusionProofRequest) (*ledgerv1.GetInclusionProofResponse, error) {
	p, err := s.ledger.ProveInclusion(req.GetSequence(), req.GetTreeSize())
	if err != nil {
		return nil, err
	}
	return &ledgerv1.GetInclusionProofResponse{TreeSize: p.Size, RootHash: p.Root[:], LeafHash: p.Leaf[:], Hashes: hashBytes(p.Hashes)}, nil
}

// GetConsistencyProof proves that a smaller tree is the beginning of a larger one.
func (s *Server) GetConsistencyProof(_ context.Context, req *ledgerv1.GetConsistencyProofRequest) (*ledgerv1.GetConsistencyProofResponse, error) {
	p, err := s.ledger.ProveGrowth(req.GetOldSize(), req.GetTreeSize())
	if err != nil {
		return nil, err
	}
	return &ledgerv1.GetConsistencyProofResponse{TreeSize: p.Size, RootHash: p.Root[:], OldRootHash: p.OldRoot[:], Hashes: hashBytes(p.Hashes)}, nil
}

// CheckLedger checks the whole ledger.
func (s *Server) CheckLedger(ctx context.Context, _ *ledgerv1.CheckLedgerRequest) (*ledgerv1.CheckLedgerResponse, error) {
	r, err := s.ledger.Check(ctx)
	if err != nil {
		return nil, err
	}
	answer := &ledgerv1.CheckLedgerResponse{Head: r.Head.proto(), Clean: r.Clean()}
	for _, v := range r.Verdicts {
		answer.Verdicts = append(answer.Verdicts, &ledgerv1.Verdict{What: v.What, Holds: v.Holds, Sentence: v.Sentence})
	}
	return answer, nil
}
