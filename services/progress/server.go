// Package progress is the office that follows each trainee's learning, one competency at a time.
//
// It folds assessments into a row per trainee and a series per competency, and says what a series can bear: how many
// drills met the standard and within what limits the true share may lie, a learning curve once the drills make one, and
// a chart that signals when they speak for an adequate rate of failure. It ranks nobody and decides nothing: a signal is
// evidence for a supervisor to weigh.
package progress

import (
	"errors"

	"zonule/assessor/cusum"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/ledger"
)

// Deps is what the office needs.
type Deps struct {
	// Ledger holds the office's view.
	Ledger *ledger.Ledger
	// Roster says who is a trainee, and their names.
	Roster rosterv1.RosterServiceClient
	// Settings are the programme's, the same that the view was made with.
	Settings Settings
}

// Server implements ProgressService.
type Server struct {
	progressv1.UnimplementedProgressServiceServer
	ledger   *ledger.Ledger
	roster   rosterv1.RosterServiceClient
	settings Settings
	chart    cusum.Chart
}

// New makes the office. It is an error when something it needs is missing, or when the settings cannot be.
func New(d Deps) (*Server, error) {
	switch {
	case d.Ledger == nil:
		return nil, errors.New("progress: no ledger was given")
	case d.Roster == nil:
		return nil, errors.New("progress: no client of the roster was given")
	}
	chart, err := d.Settings.chart()
	if err != nil {
		return nil, err
	}
	return &Server{ledger: d.Ledger, roster: d.Roster, settings: d.Settings, chart: chart}, nil
}
