package roster

import (
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/ledger"
)

// viewName names the view and is part of its keys in the store.
const viewName = "roster"

// Keys of the view's rows.
const (
	keyProgramme = "programme"
	spacePersons = "p/" // then the person's id
)

func personKey(id string) string { return spacePersons + id }

type view struct{}

// View is the fold of the roster's events.
func View() ledger.View { return view{} }

func (view) Name() string    { return viewName }
func (view) Version() uint32 { return 1 }

func (view) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	switch p := payload.(type) {
	case *rosterv1.ProgrammeDescribed:
		return w.Put(viewName, keyProgramme, p.GetProgramme())
	case *rosterv1.PersonEnrolled:
		// Two sites that were apart may both have enrolled somebody. The enrolment known here first stands: its name is
		// the one kept here.
		if known, err := w.Get(viewName, personKey(p.GetPersonId()), nil); known || err != nil {
			return err
		}
		return w.Put(viewName, personKey(p.GetPersonId()), &rosterv1.PersonRow{
			PersonId: p.GetPersonId(), Roles: p.GetRoles(), Commitment: p.GetCommitment(), EnrolledAt: e.GetRecordedAt(),
		})
	}
	return nil
}
