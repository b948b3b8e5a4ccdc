package site

import (
	"google.golang.org/grpc"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
)

// Clients speak to the offices of one site.
type Clients struct {
	Roster     rosterv1.RosterServiceClient
	Scenario   scenariov1.ScenarioServiceClient
	Drill      drillv1.DrillServiceClient
	Assessment assessmentv1.AssessmentServiceClient
	Progress   progressv1.ProgressServiceClient
	Ledger     ledgerv1.LedgerServiceClient
}

// NewClients makes the clients over one connection.
func NewClients(c grpc.ClientConnInterface) Clients {
	return Clients{
		Roster: rosterv1.NewRosterServiceClient(c), Scenario: scenariov1.NewScenarioServiceClient(c),
		Drill: drillv1.NewDrillServiceClient(c), Assessment: assessmentv1.NewAssessmentServiceClient(c),
		Progress: progressv1.NewProgressServiceClient(c), Ledger: ledgerv1.NewLedgerServiceClient(c),
	}
}
