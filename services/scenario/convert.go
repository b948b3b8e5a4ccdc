package scenario

import (
	"errors"
	"fmt"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
	"zonule/services/fault"
)

// version describes a checked scenario and its rubric's text.
func version(sc *script.Scenario, source, rubric []byte) *scenariov1.ScenarioVersion {
	v := &scenariov1.ScenarioVersion{
		ScenarioId: sc.ID, Digest: sc.Digest, RubricDigest: script.Digest(rubric),
		ShownAs: sc.ShownAs, Evidences: sc.Evidences, ReviewedBy: sc.ReviewedBy, Normal: sc.Normal(),
		Source: source, RubricSource: rubric,
	}
	if !sc.Normal() {
		v.Complication = sc.Complication
	}
	for _, variant := range sc.Variants {
		v.Variants = append(v.Variants, variant.Name)
	}
	return v
}

// at gives the version as an entry published it, without changing the entry's own.
func at(e *ledgerv1.Entry, v *scenariov1.ScenarioVersion) *scenariov1.ScenarioVersion {
	c := proto.CloneOf(v)
	c.PublishedAt = e.GetRecordedAt()
	return c
}

func withoutTexts(v *scenariov1.ScenarioVersion) *scenariov1.ScenarioVersion {
	c := proto.CloneOf(v)
	c.Source, c.RubricSource = nil, nil
	return c
}

// mostProblems is how many problems a refusal carries; the rest is counted.
const mostProblems = 50

// refusal says everything that is wrong with a text, by line and column.
func refusal(reason, what string, err error) error {
	var problems text.Problems
	if !errors.As(err, &problems) || len(problems) == 0 {
		return fault.New(codes.InvalidArgument, reason, fmt.Sprintf("The %s cannot be published: %v.", what, err))
	}
	f := fault.New(codes.InvalidArgument, reason, fmt.Sprintf("The %s cannot be published: %d problem(s), the first: %s.", what, len(problems), problems[0]),
		"problems", fmt.Sprint(len(problems)))
	for i, p := range problems[:min(len(problems), mostProblems)] {
		f.Meta[fmt.Sprintf("problem_%03d", i+1)] = p.String()
	}
	return f
}

// published reads the version out of the entries of a publication; nil when there is none.
func published(entries []*ledgerv1.Entry) (*scenariov1.ScenarioVersion, error) {
	for _, e := range entries {
		event := &scenariov1.ScenarioPublished{}
		if !e.GetPayload().MessageIs(event) {
			continue
		}
		if err := proto.Unmarshal(e.GetPayload().GetValue(), event); err != nil {
			return nil, fault.Wrap(err, codes.DataLoss, "ENTRY_DAMAGED", "The entry of the publication cannot be read. Run the ledger check.")
		}
		return withoutTexts(at(e, event.GetVersion())), nil
	}
	return nil, nil
}
