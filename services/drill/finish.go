package drill

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/play"
	"zonule/services/fault"
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
	case !running(row):
		return nil, over(row.GetDrill())
	}
	return []ledger.Event{{Subject: id, Payload: &drillv1.DrillAbandoned{DrillId: id, Reason: reason}}}, nil
}

// GetTimeline gives everything recorded of a drill that is over.
func (s *Server) GetTimeline(ctx context.Context, req *drillv1.GetTimelineRequest) (*drillv1.GetTimelineResponse, error) {
	at, err := s.load(ctx, req.GetDrillId(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	d := at.row.GetDrill()
	if running(at.row) {
		return nil, fault.New(codes.FailedPrecondition, "DRILL_RUNNING", fmt.Sprintf("The drill runs and waits for decision %d. Its timeline is shown when it has ended.", d.GetDecisions()), "drill", d.GetDrillId())
	}
	taken, err := s.decisions(ctx, d)
	if err != nil {
		return nil, err
	}
	resp := &drillv1.GetTimelineResponse{Drill: d, Timeline: &drillv1.Timeline{
		ScenarioId: d.GetScenarioId(), Digest: d.GetDigest(), Model: d.GetModel(), Variant: d.GetVariant(), Seed: d.GetSeed(), ClockOff: d.GetClockOff(),
		Opening: at.start.GetOpening(), Ending: d.GetEnding(), Safe: d.GetSafe(), Measures: at.start.GetMeasures(),
	}}
	for _, one := range taken {
		resp.Timeline.Steps = append(resp.Timeline.Steps, one.GetStep())
	}
	if d.GetState() == drillv1.DrillState_DRILL_STATE_ENDED {
		err = s.proveEnd(ctx, at.row, resp)
	}
	return resp, err
}
