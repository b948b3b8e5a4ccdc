// Package assessment is the office that judges ended drills by the rubric they were played under.
//
// It fetches the recorded timeline and the texts by digest, has the judge read them, and records what the judge said
// together with the hash of the entry that ended the drill. A drill is judged once: asking again gives the assessment
// on record. Nobody is passed or failed.
package assessment

import (
	"errors"
	"log/slog"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/ledger"
)

// Deps is what the office needs.
type Deps struct {
	// Ledger holds the office's events and its view.
	Ledger *ledger.Ledger
	// Drills gives what was recorded of a drill.
	Drills drillv1.DrillServiceClient
	// Scenarios gives the scenario and the rubric by their digests.
	Scenarios scenariov1.ScenarioServiceClient
	// Logger is told of drills that Sweep cannot judge.
	Logger *slog.Logger
}

// Server implements AssessmentService.
type Server struct {
	assessmentv1.UnimplementedAssessmentServiceServer
	ledger  *ledger.Ledger
	drills  drillv1.DrillServiceClient
	rubrics *rubrics
	log     *slog.Logger
}

// New makes the office. It is an error when something it needs is missing.
func New(d Deps) (*Server, error) {
	switch {
	case d.Ledger == nil:
		return nil, errors.New("assessment: no ledger was given")
	case d.Drills == nil:
		return nil, errors.New("assessment: no client of the drills was given")
	case d.Scenarios == nil:
		return nil, errors.New("assessment: no client of the scenarios was given")
	case d.Logger == nil:
		return nil, errors.New("assessment: no logger was given")
	}
	return &Server{ledger: d.Ledger, drills: d.Drills, rubrics: newRubrics(d.Scenarios), log: d.Logger}, nil
}
