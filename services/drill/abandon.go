package drill

import (
	"context"

	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// AbandonDrill breaks a running drill off. It needs no eye, so it is possible even when the drill cannot be played on.
func (s *Server) AbandonDrill(ctx context.Context, req *drillv1.AbandonDrillRequest) (*drillv1.AbandonDrillResponse, error) {
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	session := s.sessions.enter(req.GetDrillId())
	defer s.sessions.leave(session)
	at, err := s.standingOf(ctx, session)
	if err != nil {
		return nil, err
	}
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			return decideAbandon(r, req.GetDrillId(), req.GetReason())
		},
	})
	if err != nil {
		return nil, err
	}
	e, err := find(receipt.Entries, &drillv1.DrillAbandoned{})
	if err != nil {
		return nil, err
	}
	if e == nil {
		return nil, errNoEntry
	}
	if !receipt.Repeated {
		session.drill = nil
		s.hub.tell(session.id)
	}
	d := proto.CloneOf(at.row.GetDrill())
	abandon(d, e)
	return &drillv1.AbandonDrillResponse{Drill: d, Position: receipt.Position}, nil
}

func decideAbandon(r ledger.Reader, id, reason string) ([]ledger.Event, error) {
	row := &drillv1.DrillRow{}
	known, err := r.Get(viewName, drillKey(id), row)
	switch {
	case err != nil:
		return nil, err
	case !known:
		return nil, noSuchDrill(id)
	case row.GetSite() != r.Position().GetSite():
		return nil, playedElsewhere(row)
	case !running(row):
		return nil, over(row.GetDrill())
	}
	return []ledger.Event{{Subject: id, Payload: &drillv1.DrillAbandoned{DrillId: id, Reason: reason}}}, nil
}
