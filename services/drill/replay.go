package drill

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/services/fault"
)

// Tolerance is how far, relative to the larger of 1 and the recorded value, a measure may lie from the recorded one when
// a drill is played again. The same build gives the same bits; another processor may round otherwise.
const Tolerance = 1e-6

// catchUp gives the session a drill, played again from the record if it has none.
func (s *Server) catchUp(ctx context.Context, session *session, at standing) error {
	if session.drill != nil {
		return nil
	}
	drill, err := s.replay(ctx, at)
	if err != nil {
		if code := fault.Code(err); code == codes.DataLoss || code == codes.FailedPrecondition {
			s.log.Error("a drill cannot be gone on with", "drill", session.id, "error", err)
		}
		return err
	}
	session.drill, session.at, session.ahead = drill, at, false
	return nil
}

// replay plays the recorded decisions again and makes sure that the eye answers as it did.
func (s *Server) replay(ctx context.Context, at standing) (*play.Drill, error) {
	d := at.row.GetDrill()
	id := d.GetDrillId()
	if d.GetModel() != eye.Model {
		return nil, fault.New(codes.FailedPrecondition, "MODEL_CHANGED",
			fmt.Sprintf("The drill was played on the model eye %s up to decision %d, and this program has %s. It cannot be gone on with; what was recorded stands. Abandon it and start another one.", d.GetModel(), d.GetDecisions(), eye.Model),
			"drill", id, "decision", fmt.Sprint(d.GetDecisions()), "recorded", d.GetModel(), "present", eye.Model)
	}
	sc, err := s.texts.byDigest(ctx, d.GetDigest())
	if err != nil {
		return nil, err
	}
	taken, err := s.decisions(ctx, d)
	if err != nil {
		return nil, err
	}
	recorded := timelineIn(d, at.start, taken)
	drill, err := play.Replay(sc, recorded)
	if err != nil {
		return nil, differs(err, id, "?", err.Error())
	}
	// A measure that the record does not have is NaN there, which differs from nothing: a model eye may learn to tell
	// more without answering otherwise.
	if found := play.Compare(recorded, drill.Timeline(), Tolerance); len(found) > 0 {
		decision := fmt.Sprint(found[0].Step)
		if found[0].Step < 0 {
			decision = "opening"
		}
		return nil, differs(nil, id, decision, found[0].String())
	}
	return drill, nil
}

func differs(cause error, id, decision, how string) error {
	return fault.Wrap(cause, codes.DataLoss, "REPLAY_DIFFERS",
		"Played again, the drill does not come out as recorded: "+how+". It cannot be gone on with; what was recorded stands. Abandon it and start another one.",
		"drill", id, "decision", decision)
}

// harm is the harm index after a step, for ordering decisions of one scenario.
func harm(step *play.Step) float64 {
	h, _ := step.Doing.After.Get("harm")
	return h
}
