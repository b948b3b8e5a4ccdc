package drill

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
)

type view struct{}

// View is the fold of the drills' events.
func View() ledger.View { return view{} }

func (view) Name() string    { return viewName }
func (view) Version() uint32 { return 1 }

func (view) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	switch p := payload.(type) {
	case *drillv1.DrillStarted:
		return foldStarted(w, e, p)
	case *drillv1.DecisionTaken:
		return foldDecision(w, p)
	case *drillv1.DrillEnded:
		return foldOver(w, e, p.GetDrillId(), func(d *drillv1.Drill) { end(d, e, p) })
	case *drillv1.DrillAbandoned:
		return foldOver(w, e, p.GetDrillId(), func(d *drillv1.Drill) { abandon(d, e) })
	}
	return nil
}

func foldStarted(w ledger.Writer, e *ledgerv1.Entry, p *drillv1.DrillStarted) error {
	row := &drillv1.DrillRow{Drill: opened(e, p), Started: e.GetSequence(), Site: e.GetSite()}
	id := row.GetDrill().GetDrillId()
	if err := w.Put(viewName, drillKey(id), row); err != nil {
		return err
	}
	if err := w.Put(viewName, startKey(id), p); err != nil {
		return err
	}
	place, index := newestFirst(row), &drillv1.IndexRow{DrillId: id}
	for _, space := range []string{spaceAll, personSpace(row.GetDrill().GetPersonId()), stateSpace(row.GetDrill().GetState())} {
		if err := w.Put(viewName, space+place, index); err != nil {
			return err
		}
	}
	return nil
}

func foldDecision(w ledger.Writer, p *drillv1.DecisionTaken) error {
	row, err := mustHave(w, p.GetDrillId())
	if err != nil {
		return err
	}
	decided(row.GetDrill(), p)
	if err := w.Put(viewName, decisionKey(p.GetDrillId(), p.GetStep().GetIndex()), p); err != nil {
		return err
	}
	return w.Put(viewName, drillKey(p.GetDrillId()), row)
}

// foldOver changes a drill's state and moves it to the list of its new state.
func foldOver(w ledger.Writer, e *ledgerv1.Entry, id string, change func(*drillv1.Drill)) error {
	row, err := mustHave(w, id)
	if err != nil {
		return err
	}
	place := newestFirst(row)
	if err := w.Delete(viewName, stateSpace(row.GetDrill().GetState())+place); err != nil {
		return err
	}
	change(row.GetDrill())
	row.Ended = e.GetSequence()
	if err := w.Put(viewName, stateSpace(row.GetDrill().GetState())+place, &drillv1.IndexRow{DrillId: id}); err != nil {
		return err
	}
	return w.Put(viewName, drillKey(id), row)
}

func mustHave(r ledger.Reader, id string) (*drillv1.DrillRow, error) {
	row := &drillv1.DrillRow{}
	known, err := r.Get(viewName, drillKey(id), row)
	if err == nil && !known {
		err = fault.New(codes.Internal, "DRILL_NEVER_STARTED", "An event speaks of a drill that was never started. This is a mistake in the program.", "drill", id)
	}
	return row, err
}

// The changes an event makes to a drill. The fold makes them to the row; the answer to a request makes them to what was
// fixed at the start, so that a request that comes again later is answered as it was the first time.

// opened is the drill as its first event shows it.
func opened(e *ledgerv1.Entry, p *drillv1.DrillStarted) *drillv1.Drill {
	d := proto.CloneOf(p.GetDrill())
	d.State, d.StartedAt = drillv1.DrillState_DRILL_STATE_RUNNING, e.GetRecordedAt()
	return d
}

func decided(d *drillv1.Drill, p *drillv1.DecisionTaken) {
	d.State = drillv1.DrillState_DRILL_STATE_RUNNING
	d.Decisions, d.Seconds = p.GetStep().GetIndex()+1, p.GetSeconds()
	d.Ending, d.Safe, d.EndedAt = "", false, nil
}

func end(d *drillv1.Drill, e *ledgerv1.Entry, p *drillv1.DrillEnded) {
	d.State, d.Ending, d.Safe, d.Seconds, d.EndedAt = drillv1.DrillState_DRILL_STATE_ENDED, p.GetEnding(), p.GetSafe(), p.GetSeconds(), e.GetRecordedAt()
}

func abandon(d *drillv1.Drill, e *ledgerv1.Entry) {
	d.State, d.EndedAt = drillv1.DrillState_DRILL_STATE_ABANDONED, e.GetRecordedAt()
}
