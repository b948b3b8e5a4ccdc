package assessment

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"zonule/assessor"
	"zonule/assessor/rubric"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// assessmentOut writes what the judge said about a drill.
func assessmentOut(a assessor.Assessment, t *drillv1.GetTimelineResponse) *assessmentv1.Assessment {
	d := t.GetDrill()
	out := &assessmentv1.Assessment{
		DrillId: d.GetDrillId(), PersonId: d.GetPersonId(), ScenarioId: a.Scenario, Digest: a.Digest, RubricDigest: a.RubricDigest,
		Rubric: fmt.Sprintf("%s, version %d", a.Rubric, a.RubricVersion), ApprovedBy: a.ApprovedBy, MeanLevel: a.Mean,
		DrillEntryHash: t.GetEndedEntryHash(), Variant: a.Variant, Ending: a.Ending, Safe: a.Safe, ShownAs: d.GetShownAs(),
	}
	for _, c := range a.Criteria {
		mark := &assessmentv1.Mark{
			Criterion: c.ID, Title: c.Name, Level: int32(c.Level), Anchor: c.Anchor, Reason: c.Reason, Evidence: evidenceOut(c.Evidence), Rule: c.Rule, Weight: c.Weight,
		}
		if n := len(c.CappedBy); n > 0 {
			mark.CappedBy = c.CappedBy[n-1]
		}
		out.Marks = append(out.Marks, mark)
	}
	for _, e := range a.Critical {
		critical := &assessmentv1.CriticalError{Id: e.ID, Title: strings.ReplaceAll(e.ID, "-", " "), Reason: e.Why, Decision: int32(e.Decision), AtS: e.Second}
		for _, c := range e.Caps {
			critical.Caps = append(critical.Caps, c.Criterion)
		}
		out.CriticalErrors = append(out.CriticalErrors, critical)
	}
	slices.SortStableFunc(out.CriticalErrors, func(x, y *assessmentv1.CriticalError) int {
		switch {
		case x.GetAtS() < y.GetAtS():
			return -1
		case x.GetAtS() > y.GetAtS():
			return 1
		}
		return 0
	})
	return out
}

func evidenceOut(evidence []rubric.Evidence) []*assessmentv1.Evidence {
	var out []*assessmentv1.Evidence
	for _, e := range evidence {
		one := &assessmentv1.Evidence{Decision: int32(e.Decision), AtS: e.Second, Name: e.Name, Unit: e.Unit, Text: e.String()}
		switch e.Sort {
		case rubric.Measured, rubric.Counted, rubric.Timed:
			one.Value = proto.Float64(e.Value)
		}
		out = append(out, one)
	}
	return out
}
