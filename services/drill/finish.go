package drill

import (
	"context"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/play"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// FinishDrill brings a running drill to its safe stop. On one that is over it changes nothing.
func (s *Server) FinishDrill(ctx context.Context, req *drillv1.FinishDrillRequest) (*drillv1.FinishDrillResponse, error) {
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
	var events []ledger.Event
	var refusal error
	if running(at.row) {
		events, refusal = s.play(ctx, session, at, safeStop(req, at.recordedScene().GetLimitS()))
	}
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			if !running(at.row) {
				return nil, nil
			}
			return decideStep(r, req.GetDrillId(), at.row.GetDrill().GetDecisions(), events, refusal)
		},
	})
	if err != nil {
		return nil, err
	}
	if len(receipt.Entries) == 0 {
		return &drillv1.FinishDrillResponse{Drill: at.row.GetDrill(), Scene: at.scene()}, nil
	}
	after, err := at.after(receipt, events)
	if err != nil {
		return nil, err
	}
	s.recorded(session, receipt, after)
	return &drillv1.FinishDrillResponse{Drill: after.row.GetDrill(), Scene: after.scene(), Position: receipt.Position}, nil
}

// safeStop is the decision that every stage takes. A time limit does not stand in its way: the eye goes on for no longer
// than the limit.
func safeStop(req *drillv1.FinishDrillRequest, limit float64) play.Decision {
	elapsed := req.GetElapsedS()
	if limit > 0 {
		elapsed = min(elapsed, limit)
	}
	return play.Decision{Choice: play.ChoiceSafeStop, Elapsed: elapsed, Reason: req.GetReason()}
}
