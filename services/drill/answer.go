package drill

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/scenarios/eye"
	"zonule/services/fault"
)

// errNoEntry: a command that always records something recorded nothing.
var errNoEntry = fault.New(codes.Internal, "UNEXPECTED", "The request left no entry. This is a mistake in the program.")

// find reads the event of one kind out of the entries of a command, and gives its entry; nil when there is none.
func find(entries []*ledgerv1.Entry, into proto.Message) (*ledgerv1.Entry, error) {
	for _, e := range entries {
		if !e.GetPayload().MessageIs(into) {
			continue
		}
		if err := e.GetPayload().UnmarshalTo(into); err != nil {
			return nil, fault.Wrap(err, codes.DataLoss, "ENTRY_DAMAGED", "The entry of the request cannot be read. Run the ledger check.")
		}
		return e, nil
	}
	return nil, nil
}

// sceneWith puts into a recorded scene what machine and eye show of the measures recorded with it.
func sceneWith(recorded *drillv1.Scene, start *drillv1.DrillStarted, measures []float64) *drillv1.Scene {
	return &drillv1.Scene{
		Cue: recorded.GetCue(), Findings: recorded.GetFindings(), Choices: recorded.GetChoices(), FreeHands: recorded.GetFreeHands(),
		LimitS: recorded.GetLimitS(), Index: recorded.GetIndex(), Ending: recorded.GetEnding(), Orientation: recorded.GetOrientation(),
		Machine: shown(start.GetMachine(), start, measures), Eye: shown(start.GetEye(), start, measures),
	}
}

func shown(places []uint32, start *drillv1.DrillStarted, measures []float64) map[string]float64 {
	out := make(map[string]float64, len(places))
	for _, at := range places {
		if int(at) < len(measures) && int(at) < len(start.GetMeasures()) {
			out[start.GetMeasures()[at]] = measures[at]
		}
	}
	return out
}

// findings are the names of marks that a trainee may see.
var findings = func() map[string]bool {
	out := map[string]bool{}
	for _, f := range eye.Findings() {
		out[f.ID] = true
	}
	return out
}()

// seen gives the findings among the marks of a step, in time order.
func seen(step *drillv1.Step) []*drillv1.Mark {
	var out []*drillv1.Mark
	for _, segment := range []*drillv1.Segment{step.GetThinking(), step.GetDoing()} {
		for _, m := range segment.GetMarks() {
			if findings[m.GetName()] {
				out = append(out, m)
			}
		}
	}
	return out
}
