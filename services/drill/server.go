// Package drill is the office that runs drills: one scenario played by one trainee at one bench.
//
// The model eye of a running drill is kept in memory, in a session; what it answered is on record, and the record is
// the truth. A decision is played by the session outside the ledger's writer, and recorded only if the drill is still
// where it was when the decision was played; what could not be recorded is forgotten and played again from the record.
// After a restart, or when a session made room for others, the drill is played again from its recorded decisions, and
// goes on only if the eye answers as it did.
//
// What is answered to a request is made from the entries it left and from what was fixed when the drill started, so
// the same request sent again, even after a restart, is answered as it was the first time.
package drill

import (
	"errors"
	"log/slog"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/ledger"
)

// Deps is what the office needs.
type Deps struct {
	// Ledger holds the office's events and its view.
	Ledger *ledger.Ledger
	// Roster says who is a trainee.
	Roster rosterv1.RosterServiceClient
	// Scenarios gives the texts that are played.
	Scenarios scenariov1.ScenarioServiceClient
	// Logger is told when a drill cannot be gone on with.
	Logger *slog.Logger
	// Sessions is how many running drills are kept in memory; 256 when 0.
	Sessions int
}

// Server implements DrillService.
type Server struct {
	drillv1.UnimplementedDrillServiceServer
	ledger   *ledger.Ledger
	roster   rosterv1.RosterServiceClient
	texts    *texts
	sessions *sessions
	hub      *hub
	log      *slog.Logger
	longest  uint32 // MaxDecisions; less in tests
}

// MaxDecisions is how many decisions a drill may have, the safe stop not counted. A real one has ten to forty.
const MaxDecisions = 1000

// usualSessions is enough for every bench of a large programme; a session of ten decisions takes about 40 kB.
const usualSessions = 256

// New makes the office. It is an error when something it needs is missing.
func New(d Deps) (*Server, error) {
	switch {
	case d.Ledger == nil:
		return nil, errors.New("drill: no ledger was given")
	case d.Roster == nil:
		return nil, errors.New("drill: no client of the roster was given")
	case d.Scenarios == nil:
		return nil, errors.New("drill: no client of the scenarios was given")
	case d.Logger == nil:
		return nil, errors.New("drill: no logger was given")
	case d.Sessions < 0:
		return nil, errors.New("drill: the number of sessions is negative")
	case d.Sessions == 0:
		d.Sessions = usualSessions
	}
	return &Server{
		ledger: d.Ledger, roster: d.Roster, texts: newTexts(d.Scenarios), sessions: newSessions(d.Sessions), hub: newHub(), log: d.Logger,
		longest: MaxDecisions,
	}, nil
}

// Close ends the watching of drills, so that a server can stop. Running drills go on when the office is opened again.
func (s *Server) Close() { s.hub.close() }
