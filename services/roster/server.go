// Package roster is the office that knows the programme and the people in it.
//
// Who plays which part is recorded in the ledger; what a person is called is not. A name is sealed under a key of the
// person's own beside the ledger, and the event carries only a commitment to it, so a person can be erased while
// every proof still holds. Whoever reads an erased person gets an empty name.
package roster

import (
	"errors"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/ledger"
)

// Deps is what the office needs.
type Deps struct {
	// Ledger holds the office's events and its view.
	Ledger *ledger.Ledger
}

// Server implements RosterService.
type Server struct {
	rosterv1.UnimplementedRosterServiceServer
	ledger *ledger.Ledger
}

// New makes the office. It is an error when something it needs is missing.
func New(d Deps) (*Server, error) {
	if d.Ledger == nil {
		return nil, errors.New("roster: no ledger was given")
	}
	return &Server{ledger: d.Ledger}, nil
}
