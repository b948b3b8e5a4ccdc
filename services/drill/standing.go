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

// standing is where a drill stands, as its rows show it. It is not changed once made.
type standing struct {
	row   *drillv1.DrillRow
	start *drillv1.DrillStarted
	last  *drillv1.DecisionTaken // nil before the first decision
}

// load reads a drill's rows.
func (s *Server) load(ctx context.Context, id string, atLeast *ledgerv1.Position) (at standing, err error) {
	err = s.ledger.Read(ctx, atLeast, func(r ledger.Reader) error {
		at = standing{row: &drillv1.DrillRow{}, start: &drillv1.DrillStarted{}}
		known, err := r.Get(viewName, drillKey(id), at.row)
		if err != nil {
			return err
		}
		if !known {
			return noSuchDrill(id)
		}
		whole, err := r.Get(viewName, startKey(id), at.start)
		if n := at.row.GetDrill().GetDecisions(); err == nil && whole && n > 0 {
			at.last = &drillv1.DecisionTaken{}
			whole, err = r.Get(viewName, decisionKey(id, n-1), at.last)
		}
		if err == nil && !whole {
			err = rowsMissing(id)
		}
		return err
	})
	return at, err
}

// standingOf is where the session's drill stands on record.
func (s *Server) standingOf(ctx context.Context, session *session) (standing, error) {
	if session.drill != nil {
		return session.at, nil
	}
	return s.load(ctx, session.id, nil)
}

func rowsMissing(id string) error {
	return fault.New(codes.DataLoss, "DRILL_NOT_WHOLE", "The rows of the drill "+id+" are not whole. Run the ledger check.", "drill", id)
}

// recordedScene is what the trainee was shown last, as it is on record.
func (a standing) recordedScene() *drillv1.Scene {
	if a.last == nil {
		return a.start.GetScene()
	}
	return a.last.GetScene()
}

// scene is what the trainee sees now. In a drill that is over nothing is offered any more.
func (a standing) scene() *drillv1.Scene {
	measures := a.start.GetOpening().GetAfter()
	if a.last != nil {
		measures = a.last.GetStep().GetDoing().GetAfter()
	}
	scene := sceneWith(a.recordedScene(), a.start, measures)
	if !running(a.row) {
		scene.Choices, scene.FreeHands, scene.LimitS = nil, false, 0
	}
	return scene
}

// decisions reads the recorded decisions of a drill, all of them and in order.
func (s *Server) decisions(ctx context.Context, d *drillv1.Drill) ([]*drillv1.DecisionTaken, error) {
	want := int(d.GetDecisions())
	var taken []*drillv1.DecisionTaken
	err := s.ledger.Read(ctx, nil, func(r ledger.Reader) error {
		taken = nil
		return r.Scan(viewName, decisionSpace(d.GetDrillId()), "", want, func(_ string, value []byte) error {
			one := &drillv1.DecisionTaken{}
			if err := proto.Unmarshal(value, one); err != nil {
				return err
			}
			if int(one.GetStep().GetIndex()) != len(taken) {
				return rowsMissing(d.GetDrillId())
			}
			taken = append(taken, one)
			return nil
		})
	})
	if err == nil && len(taken) != want {
		err = rowsMissing(d.GetDrillId())
	}
	return taken, err
}

// after is where the drill stood after a decision: made from the entries of the decision and from what was fixed when
// the drill started. events are the ones just recorded; an old request that came again has its events in its entries.
func (a standing) after(receipt ledger.Receipt, events []ledger.Event) (standing, error) {
	taken, ended := &drillv1.DecisionTaken{}, &drillv1.DrillEnded{}
	if !receipt.Repeated && len(events) > 0 {
		taken = events[0].Payload.(*drillv1.DecisionTaken)
	} else if e, err := find(receipt.Entries, taken); err != nil {
		return standing{}, err
	} else if e == nil {
		return standing{}, errNoEntry
	}
	d := proto.CloneOf(a.row.GetDrill())
	decided(d, taken)
	e, err := find(receipt.Entries, ended)
	if err != nil {
		return standing{}, err
	}
	if e != nil {
		end(d, e, ended)
	}
	return standing{row: &drillv1.DrillRow{Drill: d}, start: a.start, last: taken}, nil
}
