package roster

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// programmeSubject is the subject of the programme's own events.
const programmeSubject = "programme"

// DescribeProgramme sets the programme's description. Describing it as it is already records nothing.
func (s *Server) DescribeProgramme(ctx context.Context, req *rosterv1.DescribeProgrammeRequest) (*rosterv1.DescribeProgrammeResponse, error) {
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	wanted := &rosterv1.Programme{Name: req.GetName(), Invented: req.GetInvented()}
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		Decide: func(r ledger.Reader) ([]ledger.Event, error) { return decideProgramme(r, wanted) },
	})
	if err != nil {
		return nil, err
	}
	return &rosterv1.DescribeProgrammeResponse{Programme: wanted, Position: receipt.Position}, nil
}

func decideProgramme(r ledger.Reader, wanted *rosterv1.Programme) ([]ledger.Event, error) {
	now := &rosterv1.Programme{}
	known, err := r.Get(viewName, keyProgramme, now)
	if err != nil || known && proto.Equal(now, wanted) {
		return nil, err
	}
	return []ledger.Event{{Subject: programmeSubject, Payload: &rosterv1.ProgrammeDescribed{Programme: wanted}}}, nil
}

// GetProgramme gives the programme as last described.
func (s *Server) GetProgramme(ctx context.Context, req *rosterv1.GetProgrammeRequest) (*rosterv1.GetProgrammeResponse, error) {
	programme := &rosterv1.Programme{}
	err := s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		known, err := r.Get(viewName, keyProgramme, programme)
		if err == nil && !known {
			return fault.New(codes.NotFound, "NO_PROGRAMME", "Nobody has described the programme yet. Give it a name first.")
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &rosterv1.GetProgrammeResponse{Programme: programme}, nil
}
