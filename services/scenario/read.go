package scenario

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// usualPage is the number of scenarios in a page when none is asked for.
const usualPage = 50

// GetScenario gives one version with its texts.
func (s *Server) GetScenario(ctx context.Context, req *scenariov1.GetScenarioRequest) (*scenariov1.GetScenarioResponse, error) {
	version := &scenariov1.ScenarioVersion{}
	err := s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		digest, rubric, err := which(r, req)
		if err != nil {
			return err
		}
		known, err := r.Get(viewName, versionKey(digest, rubric), version)
		if err == nil && !known {
			return fault.New(codes.NotFound, "NO_SUCH_RUBRIC", "This scenario was never published with that rubric. Leave the rubric out to get the one it was last published with.", "digest", digest, "rubric", rubric)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &scenariov1.GetScenarioResponse{Version: version}, nil
}

// which finds the two digests of the version asked for.
func which(r ledger.Reader, req *scenariov1.GetScenarioRequest) (digest, rubric string, err error) {
	if digest = req.GetDigest(); digest == "" {
		newest := &scenariov1.ScenarioVersion{}
		known, err := r.Get(viewName, newestKey(req.GetScenarioId()), newest)
		if err != nil {
			return "", "", err
		}
		if !known {
			return "", "", fault.New(codes.NotFound, "NO_SUCH_SCENARIO", "No scenario "+req.GetScenarioId()+" is published. Look the id up in the list of scenarios, or publish it.", "scenario", req.GetScenarioId())
		}
		digest, rubric = newest.GetDigest(), newest.GetRubricDigest()
	} else {
		row := &scenariov1.RubricRow{}
		known, err := r.Get(viewName, rubricKey(digest), row)
		if err != nil {
			return "", "", err
		}
		if !known {
			return "", "", fault.New(codes.NotFound, "NO_SUCH_SCENARIO", "No scenario of this digest is published here. Publish its text, or wait until it has arrived from the site that did.", "digest", digest)
		}
		rubric = row.GetRubricDigest()
	}
	if req.GetRubricDigest() != "" {
		rubric = req.GetRubricDigest()
	}
	return digest, rubric, nil
}

// listName names the list in page tokens.
const listName = "scenarios"

// ListScenarios pages through the newest versions in order of their ids.
func (s *Server) ListScenarios(ctx context.Context, req *scenariov1.ListScenariosRequest) (*scenariov1.ListScenariosResponse, error) {
	after, err := rpc.PageAfter(listName, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	if after != "" {
		after = newestKey(after)
	}
	size := rpc.PageSize(req.GetPageSize(), usualPage)
	resp := &scenariov1.ListScenariosResponse{}
	err = s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		resp.Versions = nil
		return r.Scan(viewName, spaceNewest, after, size+1, func(_ string, value []byte) error {
			v := &scenariov1.ScenarioVersion{}
			resp.Versions = append(resp.Versions, v)
			return proto.Unmarshal(value, v)
		})
	})
	if err != nil {
		return nil, err
	}
	if len(resp.Versions) > size {
		resp.Versions = resp.Versions[:size]
		resp.NextPageToken = rpc.PageToken(listName, resp.Versions[size-1].GetScenarioId())
	}
	return resp, nil
}
