package drill

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/play"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// Decide takes the next decision.
func (s *Server) Decide(ctx context.Context, req *drillv1.DecideRequest) (*drillv1.DecideResponse, error) {
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
	if running(at.row) && req.GetIndex() == at.row.GetDrill().GetDecisions() {
		events, refusal = s.play(ctx, session, at, decisionIn(req))
	}
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			return decideStep(r, req.GetDrillId(), req.GetIndex(), events, refusal)
		},
	})
	if err != nil {
		return nil, err
	}
	after, err := at.after(receipt, events)
	if err != nil {
		return nil, err
	}
	s.recorded(session, receipt, after)
	step := after.last.GetStep()
	return &drillv1.DecideResponse{
		Drill: after.row.GetDrill(), Scene: after.scene(), Seen: seen(step), Refused: step.GetRefused(), Position: receipt.Position,
	}, nil
}

// decideStep lets the events of a decision through if the drill is still where it was played. Without events there must
// be a reason, and unless refusal is it, it lies in where the drill is now.
func decideStep(r ledger.Reader, id string, index uint32, events []ledger.Event, refusal error) ([]ledger.Event, error) {
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
	case index != row.GetDrill().GetDecisions():
		return nil, decisionTaken(row.GetDrill(), index)
	case refusal != nil:
		return nil, refusal
	case len(events) == 0: // the drill moved on to this decision while the request was on its way
		return nil, decisionTaken(row.GetDrill(), index)
	}
	return events, nil
}

// play plays a decision on the session and makes its events. The session is ahead of the record from here on, until the
// events are recorded.
func (s *Server) play(ctx context.Context, session *session, at standing, decision play.Decision) ([]ledger.Event, error) {
	if err := s.catchUp(ctx, session, at); err != nil {
		return nil, err
	}
	id := session.id
	if index := at.row.GetDrill().GetDecisions(); index >= s.longest && decision.Choice != play.ChoiceSafeStop {
		return nil, fault.New(codes.FailedPrecondition, "DRILL_TOO_LONG", fmt.Sprintf("The drill has %d decisions, as many as one may have. Bring it to its safe stop.", index), "drill", id)
	}
	step, err := session.drill.Decide(decision)
	if err != nil {
		return nil, refused(err, "drill", id)
	}
	session.ahead = true
	scene, seconds := session.drill.Scene(), session.drill.Seconds()
	events := []ledger.Event{{Subject: id, Payload: &drillv1.DecisionTaken{DrillId: id, Step: stepOut(&step), Seconds: seconds, Scene: sceneOut(&scene)}}}
	if session.drill.Ended() {
		events = append(events, ledger.Event{Subject: id, Payload: &drillv1.DrillEnded{
			DrillId: id, PersonId: at.row.GetDrill().GetPersonId(), Ending: step.Next, Safe: scene.Safe, Seconds: seconds, Harm: harm(&step),
		}})
	}
	return events, nil
}

// recorded notes that what the session played is on record, and tells who watches.
func (s *Server) recorded(session *session, receipt ledger.Receipt, at standing) {
	if receipt.Repeated {
		return
	}
	session.ahead, session.at = false, at
	if !running(at.row) {
		session.drill = nil // nothing more can be played on it
	}
	s.hub.tell(session.id)
}

func decisionIn(req *drillv1.DecideRequest) play.Decision {
	return play.Decision{
		Choice: req.GetChoice(), Free: actionsIn(req.GetFree().GetActions()), TimedOut: req.GetClockRanOut(), Elapsed: req.GetElapsedS(), Reason: req.GetReason(),
	}
}

func running(row *drillv1.DrillRow) bool {
	return row.GetDrill().GetState() == drillv1.DrillState_DRILL_STATE_RUNNING
}

func noSuchDrill(id string) error {
	return fault.New(codes.NotFound, "NO_SUCH_DRILL", "There is no drill "+id+". Look the id up in the list of drills.", "drill", id)
}

// playedElsewhere refuses a step in a drill that is played at another site: two sites deciding in one drill would make
// two drills of it.
func playedElsewhere(row *drillv1.DrillRow) error {
	return fault.New(codes.FailedPrecondition, "DRILL_OF_OTHER_SITE", "The drill is played at site "+row.GetSite()+". Go on with it there.", "drill", row.GetDrill().GetDrillId(), "site", row.GetSite())
}

// over says why nothing more can be done in a drill.
func over(d *drillv1.Drill) error {
	if d.GetState() == drillv1.DrillState_DRILL_STATE_ABANDONED {
		return fault.New(codes.FailedPrecondition, "DRILL_ABANDONED", "The drill was broken off. Start another one.", "drill", d.GetDrillId())
	}
	return fault.New(codes.FailedPrecondition, "DRILL_ENDED", "The drill has ended. Look at its debrief, or start another one.", "drill", d.GetDrillId(), "ending", d.GetEnding())
}

func decisionTaken(d *drillv1.Drill, index uint32) error {
	return fault.New(codes.Aborted, "DECISION_TAKEN",
		fmt.Sprintf("The drill waits for decision %d, not %d. Look at the scene as it is now and decide on that.", d.GetDecisions(), index),
		"drill", d.GetDrillId(), "index", fmt.Sprint(index), "next", fmt.Sprint(d.GetDecisions()))
}
