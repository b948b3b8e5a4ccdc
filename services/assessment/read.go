package assessment

import (
	"context"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// usualPage is the number of assessments in a page when none is asked for.
const usualPage = 50

// GetAssessment gives the assessment of a drill.
func (s *Server) GetAssessment(ctx context.Context, req *assessmentv1.GetAssessmentRequest) (*assessmentv1.GetAssessmentResponse, error) {
	a := &assessmentv1.Assessment{}
	err := s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		known, err := r.Get(viewName, judgedKey(req.GetDrillId()), a)
		if err == nil && !known {
			return fault.New(codes.NotFound, "NOT_ASSESSED", "No assessment of the drill "+req.GetDrillId()+" is on record. Have it judged once it has ended.", "drill", req.GetDrillId())
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &assessmentv1.GetAssessmentResponse{Assessment: a}, nil
}

// ListAssessments pages through one trainee's assessments. Somebody without any has an empty list.
func (s *Server) ListAssessments(ctx context.Context, req *assessmentv1.ListAssessmentsRequest) (*assessmentv1.ListAssessmentsResponse, error) {
	space := listSpace(req.GetPersonId(), req.GetNewestFirst())
	after, err := rpc.PageAfter(space, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	if after != "" {
		after = space + after
	}
	size := rpc.PageSize(req.GetPageSize(), usualPage)
	resp := &assessmentv1.ListAssessmentsResponse{}
	var keys []string
	err = s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) (err error) {
		keys, resp.Assessments, err = assessmentsAfter(r, space, after, size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(keys) > size {
		resp.Assessments = resp.Assessments[:size]
		resp.NextPageToken = rpc.PageToken(space, strings.TrimPrefix(keys[size-1], space))
	}
	return resp, nil
}

func assessmentsAfter(r ledger.Reader, space, after string, n int) (keys []string, found []*assessmentv1.Assessment, err error) {
	var drills []string
	err = r.Scan(viewName, space, after, n, func(key string, value []byte) error {
		row := &assessmentv1.IndexRow{}
		err := proto.Unmarshal(value, row)
		keys, drills = append(keys, key), append(drills, row.GetDrillId())
		return err
	})
	for _, drill := range drills {
		if err != nil {
			break
		}
		a, known := &assessmentv1.Assessment{}, false
		if known, err = r.Get(viewName, judgedKey(drill), a); err == nil && !known {
			err = fault.New(codes.DataLoss, "ASSESSMENT_MISSING", "An assessment stands in the list and is not there. Run the ledger check.", "drill", drill)
		}
		found = append(found, a)
	}
	return keys, found, err
}
