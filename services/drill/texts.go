package drill

import (
	"context"
	"sync"

	"google.golang.org/grpc/codes"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/script"
	"zonule/services/fault"
)

// mostTexts bounds how many parsed scenarios are kept.
const mostTexts = 64

// texts gives parsed scenarios by digest. What a digest names never changes, so what was parsed once stays right.
type texts struct {
	client scenariov1.ScenarioServiceClient
	mu     sync.Mutex
	parsed map[string]*script.Scenario
}

func newTexts(client scenariov1.ScenarioServiceClient) *texts {
	return &texts{client: client, parsed: map[string]*script.Scenario{}}
}

// byDigest gives the scenario of a digest.
func (t *texts) byDigest(ctx context.Context, digest string) (*script.Scenario, error) {
	if sc := t.kept(digest); sc != nil {
		return sc, nil
	}
	resp, err := t.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_Digest{Digest: digest}})
	if err != nil {
		return nil, fault.From(err)
	}
	return t.parse(resp.GetVersion())
}

// newest gives the newest version of a scenario with its description.
func (t *texts) newest(ctx context.Context, id string) (*script.Scenario, *scenariov1.ScenarioVersion, error) {
	resp, err := t.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_ScenarioId{ScenarioId: id}})
	if err != nil {
		return nil, nil, fault.From(err)
	}
	sc, err := t.parse(resp.GetVersion())
	return sc, resp.GetVersion(), err
}

func (t *texts) kept(digest string) *script.Scenario {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.parsed[digest]
}

// parse parses a version and keeps it. A published text parsed when it was published; that it no longer does means that
// the language has changed since.
func (t *texts) parse(v *scenariov1.ScenarioVersion) (*script.Scenario, error) {
	if sc := t.kept(v.GetDigest()); sc != nil {
		return sc, nil
	}
	sc, err := script.Parse(v.GetScenarioId()+".yaml", v.GetSource())
	if err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "SCENARIO_UNREADABLE", "This version of the scenario "+v.GetScenarioId()+" can no longer be read by this program. Publish a version that can.", "scenario", v.GetScenarioId(), "digest", v.GetDigest())
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.parsed) >= mostTexts {
		for digest := range t.parsed { // any: it is parsed again when it is needed
			delete(t.parsed, digest)
			break
		}
	}
	t.parsed[v.GetDigest()] = sc
	return sc, nil
}
