package assessment

import (
	"context"
	"sync"

	"google.golang.org/grpc/codes"

	"zonule/assessor/rubric"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/script"
	"zonule/services/fault"
)

// mostRubrics bounds how many compiled rubrics are kept.
const mostRubrics = 64

// rubrics gives compiled rubrics by the digests of scenario and rubric. What digests name never changes.
type rubrics struct {
	client   scenariov1.ScenarioServiceClient
	mu       sync.Mutex
	compiled map[[2]string]*rubric.Rubric
}

func newRubrics(client scenariov1.ScenarioServiceClient) *rubrics {
	return &rubrics{client: client, compiled: map[[2]string]*rubric.Rubric{}}
}

// of gives the rubric a drill is judged by.
func (c *rubrics) of(ctx context.Context, d *drillv1.Drill) (*rubric.Rubric, error) {
	key := [2]string{d.GetDigest(), d.GetRubricDigest()}
	c.mu.Lock()
	r := c.compiled[key]
	c.mu.Unlock()
	if r != nil {
		return r, nil
	}
	resp, err := c.client.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_Digest{Digest: d.GetDigest()}, RubricDigest: d.GetRubricDigest()})
	if err != nil {
		return nil, fault.From(err)
	}
	if r, err = compile(resp.GetVersion()); err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "RUBRIC_UNREADABLE", "The rubric of this drill can no longer be read by this program. Judge it with the program it was published with.", "drill", d.GetDrillId(), "digest", d.GetDigest(), "rubric", d.GetRubricDigest())
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.compiled) >= mostRubrics {
		for other := range c.compiled { // any: it is compiled again when it is needed
			delete(c.compiled, other)
			break
		}
	}
	c.compiled[key] = r
	return r, nil
}

// compile compiles a published rubric. It was checked strictly when it was published; here it need only compile.
func compile(v *scenariov1.ScenarioVersion) (*rubric.Rubric, error) {
	sc, err := script.Parse(v.GetScenarioId()+".yaml", v.GetSource())
	if err != nil {
		return nil, err
	}
	names := rubric.NamesOf(sc)
	names.Evidences, names.Said = nil, nil
	return rubric.Parse(v.GetScenarioId()+" rubric.yaml", v.GetRubricSource(), names)
}
