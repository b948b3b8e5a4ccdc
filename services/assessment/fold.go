package assessment

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/ledger"
)

// viewName names the view and is part of its keys in the store.
const viewName = "assessments"

// Spaces of the view's keys.
const (
	spaceJudged = "a/" // then the drill's id: Assessment
	spaceDue    = "q/" // then the drill's id, for an ended drill that is not judged yet: IndexRow
	spaceOldest = "o/" // then the trainee's id and the place, in the order made: IndexRow
	spaceNewest = "n/" // then the trainee's id and the place, the newest first: IndexRow
)

func judgedKey(drill string) string { return spaceJudged + drill }
func dueKey(drill string) string    { return spaceDue + drill }

// listSpace is where a trainee's assessments lie in one of the two orders.
func listSpace(person string, newestFirst bool) string {
	if newestFirst {
		return spaceNewest + person + "/"
	}
	return spaceOldest + person + "/"
}

// placeOf is where an entry stands in a list: by when it was recorded, then by its place in its ledger.
func placeOf(e *ledgerv1.Entry, newestFirst bool) string {
	micros, sequence := uint64(e.GetRecordedAt().AsTime().UnixMicro()), e.GetSequence()
	if newestFirst {
		micros, sequence = ^micros, ^sequence
	}
	return fmt.Sprintf("%016x-%016x-%s", micros, sequence, e.GetSite())
}

type view struct{}

// View is the fold of the assessments' events. It also notes which drills have ended and wait to be judged.
func View() ledger.View { return view{} }

func (view) Name() string    { return viewName }
func (view) Version() uint32 { return 1 }

func (view) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	switch p := payload.(type) {
	case *drillv1.DrillEnded:
		if e.GetSite() != w.Position().GetSite() { // the site where it was played judges it
			return nil
		}
		return w.Put(viewName, dueKey(p.GetDrillId()), &assessmentv1.IndexRow{DrillId: p.GetDrillId()})
	case *assessmentv1.DrillAssessed:
		return foldAssessed(w, e, p)
	}
	return nil
}

func foldAssessed(w ledger.Writer, e *ledgerv1.Entry, p *assessmentv1.DrillAssessed) error {
	a := judgedAt(e, p)
	if err := w.Put(viewName, judgedKey(a.GetDrillId()), a); err != nil {
		return err
	}
	index := &assessmentv1.IndexRow{DrillId: a.GetDrillId()}
	for _, newestFirst := range []bool{false, true} {
		if err := w.Put(viewName, listSpace(a.GetPersonId(), newestFirst)+placeOf(e, newestFirst), index); err != nil {
			return err
		}
	}
	return w.Delete(viewName, dueKey(a.GetDrillId()))
}

// judgedAt is the assessment as its event shows it.
func judgedAt(e *ledgerv1.Entry, p *assessmentv1.DrillAssessed) *assessmentv1.Assessment {
	a := proto.CloneOf(p.GetAssessment())
	a.AssessedAt = e.GetRecordedAt()
	return a
}
