package assessment

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"zonule/assessor"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// AssessDrill judges an ended drill and records the assessment.
func (s *Server) AssessDrill(ctx context.Context, req *assessmentv1.AssessDrillRequest) (*assessmentv1.AssessDrillResponse, error) {
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	return s.assess(ctx, req.GetDrillId(), ledger.Command{Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint})
}

// assess judges the drill and records what was found under the command, unless the drill was judged before.
func (s *Server) assess(ctx context.Context, drill string, command ledger.Command) (*assessmentv1.AssessDrillResponse, error) {
	known, err := s.judged(ctx, drill)
	if err != nil {
		return nil, err
	}
	var found *assessmentv1.DrillAssessed
	var refusal error
	if known == nil {
		found, refusal = s.judge(ctx, drill)
	}
	before := &assessmentv1.Assessment{}
	command.Decide = func(r ledger.Reader) ([]ledger.Event, error) {
		was, err := r.Get(viewName, judgedKey(drill), before)
		switch {
		case err != nil || was:
			return nil, err
		case refusal != nil:
			return nil, refusal
		}
		return []ledger.Event{{Subject: drill, Payload: found}}, nil
	}
	receipt, err := s.ledger.Append(ctx, command)
	if err != nil {
		return nil, err
	}
	for _, e := range receipt.Entries {
		event := &assessmentv1.DrillAssessed{}
		if !e.GetPayload().MessageIs(event) {
			continue
		}
		if err := e.GetPayload().UnmarshalTo(event); err != nil {
			return nil, fault.Wrap(err, codes.DataLoss, "ENTRY_DAMAGED", "The entry of the assessment cannot be read. Run the ledger check.")
		}
		return &assessmentv1.AssessDrillResponse{Assessment: judgedAt(e, event), Position: receipt.Position}, nil
	}
	return &assessmentv1.AssessDrillResponse{Assessment: before, Position: receipt.Position}, nil
}

// judged gives the assessment on record, nil when there is none.
func (s *Server) judged(ctx context.Context, drill string) (*assessmentv1.Assessment, error) {
	a, known := &assessmentv1.Assessment{}, false
	err := s.ledger.Read(ctx, nil, func(r ledger.Reader) (err error) {
		known, err = r.Get(viewName, judgedKey(drill), a)
		return err
	})
	if err != nil || !known {
		return nil, err
	}
	return a, nil
}

// judge fetches what was recorded and has the judge read it.
func (s *Server) judge(ctx context.Context, drill string) (*assessmentv1.DrillAssessed, error) {
	t, err := s.drills.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: drill}, grpc.MaxCallRecvMsgSize(largestTimeline))
	if err != nil {
		return nil, fault.From(err)
	}
	if t.GetDrill().GetState() == drillv1.DrillState_DRILL_STATE_ABANDONED {
		return nil, fault.New(codes.FailedPrecondition, "DRILL_ABANDONED", "The drill was broken off, so it is not judged.", "drill", drill)
	}
	if site := t.GetEndedPosition().GetSite(); site != s.ledger.Site() {
		return nil, fault.New(codes.FailedPrecondition, "DRILL_OF_OTHER_SITE", "The drill was played at site "+site+", which judges it.", "drill", drill, "site", site)
	}
	r, err := s.rubrics.of(ctx, t.GetDrill())
	if err != nil {
		return nil, err
	}
	a, err := assessor.Assess(timelineIn(t.GetTimeline()), r)
	if err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "NOT_JUDGED", "The drill cannot be judged: "+err.Error()+".", "drill", drill)
	}
	return &assessmentv1.DrillAssessed{Assessment: assessmentOut(a, t)}, nil
}

// Sweep judges the ended drills that have no assessment yet, and says how many it judged. What cannot be judged is
// logged and left for the next time.
func (s *Server) Sweep(ctx context.Context) (judged int, err error) {
	after := ""
	for {
		var due []string
		err := s.ledger.Read(ctx, nil, func(r ledger.Reader) error {
			due = nil
			return r.Scan(viewName, spaceDue, after, sweepRun, func(_ string, value []byte) error {
				row := &assessmentv1.IndexRow{}
				err := proto.Unmarshal(value, row)
				due = append(due, row.GetDrillId())
				return err
			})
		})
		if err != nil || len(due) == 0 {
			return judged, err
		}
		for _, drill := range due {
			if ctx.Err() != nil {
				return judged, ctx.Err()
			}
			if _, err := s.assess(ctx, drill, ledger.Command{Actor: sweeper}); err != nil {
				s.log.Warn("an ended drill could not be judged", "drill", drill, "error", err)
				continue
			}
			judged++
		}
		after = dueKey(due[len(due)-1])
	}
}

const (
	// largestTimeline bounds what is read of one drill. A decision takes about 2 kB, a thousand may be in a drill.
	largestTimeline = 64 << 20

	sweepRun = 100        // drills looked up at a time
	sweeper  = "assessor" // who gives the commands of a sweep
)
