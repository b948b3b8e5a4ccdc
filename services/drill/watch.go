package drill

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
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
