// Package scenario is the office that keeps the published scenarios and their rubrics, each version for ever.
//
// A version is the bytes of a scenario and of the rubric published with it, named by their SHA-256. A drill names both,
// so it can always be read, replayed and judged with the very texts it was played from. The newest version of an id is
// the one published last.
package scenario

import (
	"errors"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/ledger"
)

// Deps is what the office needs.
type Deps struct {
	// Ledger holds the office's events and its view.
	Ledger *ledger.Ledger
}

// Server implements ScenarioService.
type Server struct {
	scenariov1.UnimplementedScenarioServiceServer
	ledger *ledger.Ledger
}

// New makes the office. It is an error when something it needs is missing.
func New(d Deps) (*Server, error) {
	if d.Ledger == nil {
		return nil, errors.New("scenario: no ledger was given")
	}
	return &Server{ledger: d.Ledger}, nil
}
