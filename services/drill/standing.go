package drill

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
)

// standing is a drill as its rows show it.
type standing struct {
	row     *drillv1.DrillRow
	opening *drillv1.OpeningRow
}

// load reads a drill's rows. A session, which may be nil, keeps the opening, so that it is read once.
func (s *Server) load(ctx context.Context, id string, session *session, atLeast *ledgerv1.Position) (standing, error) {
	at := standing{row: &drillv1.DrillRow{}}
	err := s.ledger.Read(ctx, atLeast, func(r ledger.Reader) error {
		known, err := r.Get(viewName, drillKey(id), at.row)
		if err != nil {
			return err
		}
		if !known {
			return noSuchDrill(id)
		}
		if session != nil && session.opening != nil {
			at.opening = session.opening
			return nil
		}
		at.opening = &drillv1.OpeningRow{}
		known, err = r.Get(viewName, openingKey(id), at.opening)
		if err == nil && !known {
			err = rowsMissing(id)
		}
		return err
	})
	if err == nil && session != nil {
		session.opening = at.opening
	}
	return at, err
}

func rowsMissing(id string) error {
	return fault.New(codes.DataLoss, "DRILL_NOT_WHOLE", "The rows of the drill "+id+" are not whole. Run the ledger check.", "drill", id)
}

// scene is what the trainee sees now.
func (a standing) scene() *drillv1.Scene {
	return sceneWith(a.row.GetScene(), a.opening, a.row.GetMeasures())
}

// steps reads the recorded decisions of a drill, all of them and in order.
func (s *Server) steps(ctx context.Context, row *drillv1.DrillRow) ([]*drillv1.Step, error) {
	id, want := row.GetDrill().GetDrillId(), row.GetDrill().GetDecisions()
	var steps []*drillv1.Step
	err := s.ledger.Read(ctx, nil, func(r ledger.Reader) error {
		steps = nil
		return r.Scan(viewName, stepSpace(id), "", int(want), func(_ string, value []byte) error {
			step := &drillv1.Step{}
			if err := proto.Unmarshal(value, step); err != nil {
				return err
			}
			if int(step.GetIndex()) != len(steps) {
				return rowsMissing(id)
			}
			steps = append(steps, step)
			return nil
		})
	})
	if err == nil && len(steps) != int(want) {
		err = rowsMissing(id)
	}
	return steps, err
}

// outcome is what a decision came to: the drill after it, what was shown, and the step.
type outcome struct {
	drill *drillv1.Drill
	scene *drillv1.Scene
	step  *drillv1.Step
}

// afterStep makes the outcome from the entries of a decision and from what was fixed when the drill started.
func afterStep(at standing, receipt ledger.Receipt) (outcome, error) {
	taken, ended := &drillv1.DecisionTaken{}, &drillv1.DrillEnded{}
	e, err := find(receipt.Entries, taken)
	if err != nil {
		return outcome{}, err
	}
	if e == nil {
		return outcome{}, errNoEntry
	}
	d := proto.CloneOf(at.row.GetDrill())
	decided(d, taken)
	if e, err = find(receipt.Entries, ended); err != nil {
		return outcome{}, err
	}
	if e != nil {
		end(d, e, ended)
	}
	return outcome{d, sceneWith(taken.GetScene(), at.opening, taken.GetStep().GetDoing().GetAfter()), taken.GetStep()}, nil
}
