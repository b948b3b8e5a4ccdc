package scenario

import (
	"context"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// PublishScenario checks a scenario and its rubric whole and keeps them.
func (s *Server) PublishScenario(ctx context.Context, req *scenariov1.PublishScenarioRequest) (*scenariov1.PublishScenarioResponse, error) {
	wanted, err := checked(req.GetSource(), req.GetRubricSource())
	if err != nil {
		return nil, err
	}
	fingerprint, err := rpc.Fingerprint(req)
	if err != nil {
		return nil, err
	}
	newest := &scenariov1.ScenarioVersion{}
	receipt, err := s.ledger.Append(ctx, ledger.Command{
		Actor: rpc.Actor(ctx), RequestID: req.GetRequestId(), Fingerprint: fingerprint,
		Decide: func(r ledger.Reader) ([]ledger.Event, error) { return decidePublish(r, wanted, newest) },
	})
	if err != nil {
		return nil, err
	}
	version, err := published(receipt.Entries)
	if err != nil {
		return nil, err
	}
	if version == nil { // nothing had to be recorded
		version = newest
	}
	return &scenariov1.PublishScenarioResponse{Version: version, Position: receipt.Position}, nil
}

// checked parses both texts; nothing that does not parse is ever published.
func checked(source, rubricSource []byte) (*scenariov1.ScenarioVersion, error) {
	sc, err := CheckScenario("scenario.yaml", source)
	if err != nil {
		return nil, refusal("SCENARIO_REFUSED", "scenario", err)
	}
	if _, err := CheckRubric("rubric.yaml", rubricSource, sc); err != nil {
		return nil, refusal("RUBRIC_REFUSED", "rubric", err)
	}
	return version(sc, source, rubricSource), nil
}

// decidePublish records the version unless it is the newest one already, which it then leaves in newest.
func decidePublish(r ledger.Reader, wanted, newest *scenariov1.ScenarioVersion) ([]ledger.Event, error) {
	known, err := r.Get(viewName, newestKey(wanted.GetScenarioId()), newest)
	if err != nil {
		return nil, err
	}
	if known && newest.GetDigest() == wanted.GetDigest() && newest.GetRubricDigest() == wanted.GetRubricDigest() {
		return nil, nil
	}
	return []ledger.Event{{Subject: wanted.GetScenarioId(), Payload: &scenariov1.ScenarioPublished{Version: wanted}}}, nil
}
