package drill

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
)

// GetTimeline gives everything recorded of a drill that is over.
func (s *Server) GetTimeline(ctx context.Context, req *drillv1.GetTimelineRequest) (*drillv1.GetTimelineResponse, error) {
	at, err := s.load(ctx, req.GetDrillId(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	d := at.row.GetDrill()
	if running(at.row) {
		return nil, fault.New(codes.FailedPrecondition, "DRILL_RUNNING", fmt.Sprintf("The drill runs and waits for decision %d. Its timeline is shown when it has ended.", d.GetDecisions()), "drill", d.GetDrillId())
	}
	taken, err := s.decisions(ctx, d)
	if err != nil {
		return nil, err
	}
	resp := &drillv1.GetTimelineResponse{Drill: d, Timeline: &drillv1.Timeline{
		ScenarioId: d.GetScenarioId(), Digest: d.GetDigest(), Model: d.GetModel(), Variant: d.GetVariant(), Seed: d.GetSeed(), ClockOff: d.GetClockOff(),
		Opening: at.start.GetOpening(), Ending: d.GetEnding(), Safe: d.GetSafe(), Measures: at.start.GetMeasures(),
	}}
	for _, one := range taken {
		resp.Timeline.Steps = append(resp.Timeline.Steps, one.GetStep())
	}
	if d.GetState() == drillv1.DrillState_DRILL_STATE_ENDED {
		err = s.proveEnd(ctx, at.row, resp)
	}
	return resp, err
}

// proveEnd adds the place and the leaf hash of the entry that ended the drill.
func (s *Server) proveEnd(ctx context.Context, row *drillv1.DrillRow, resp *drillv1.GetTimelineResponse) error {
	read := s.ledger.Stored
	if row.GetSite() != s.ledger.Site() { // it came with the copy of the other site's ledger
		read = func(ctx context.Context, from uint64, limit int) ([]ledger.Stored, error) {
			return s.ledger.CopiedEntries(ctx, row.GetSite(), from, limit)
		}
	}
	stored, err := read(ctx, row.GetEnded(), 1)
	if err != nil {
		return err
	}
	if len(stored) != 1 {
		return rowsMissing(row.GetDrill().GetDrillId())
	}
	resp.EndedEntryHash = stored[0].Leaf[:]
	resp.EndedPosition = &ledgerv1.Position{Site: row.GetSite(), Sequence: row.GetEnded()}
	return nil
}
