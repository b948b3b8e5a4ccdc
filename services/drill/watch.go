package drill

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// GetDrill gives a drill with the scene it stands at.
func (s *Server) GetDrill(ctx context.Context, req *drillv1.GetDrillRequest) (*drillv1.GetDrillResponse, error) {
	at, err := s.load(ctx, req.GetDrillId(), req.GetAtLeast())
	if err != nil {
		return nil, err
	}
	return &drillv1.GetDrillResponse{Drill: at.row.GetDrill(), Scene: at.scene()}, nil
}

// WatchDrill sends the drill as it stands and then after every change. Who reads slowly gets the newest state and not
// every one between.
func (s *Server) WatchDrill(req *drillv1.WatchDrillRequest, stream grpc.ServerStreamingServer[drillv1.WatchDrillResponse]) error {
	changed, stop := s.hub.watch(req.GetDrillId())
	defer stop()
	for {
		at, err := s.load(stream.Context(), req.GetDrillId(), nil)
		if err != nil {
			return err
		}
		if err := stream.Send(&drillv1.WatchDrillResponse{Drill: at.row.GetDrill(), Scene: at.scene()}); err != nil {
			return err
		}
		if !running(at.row) {
			return nil
		}
		select {
		case <-changed:
		case <-s.hub.closed:
			return fault.New(codes.Unavailable, "SITE_STOPPING", "The site is being stopped. Watch again when it is back.", "drill", req.GetDrillId())
		case <-stream.Context().Done():
			return stream.Context().Err()
		}
	}
}

// proveEnd adds the place and the leaf hash of the entry that ended the drill.
func (s *Server) proveEnd(ctx context.Context, row *drillv1.DrillRow, resp *drillv1.GetTimelineResponse) error {
	if row.GetSite() != s.ledger.Site() {
		return fault.New(codes.FailedPrecondition, "DRILL_OF_OTHER_SITE", "The drill was played at site "+row.GetSite()+", whose ledger proves it. Ask there.", "drill", row.GetDrill().GetDrillId(), "site", row.GetSite())
	}
	stored, err := s.ledger.Stored(ctx, row.GetEnded(), 1)
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
