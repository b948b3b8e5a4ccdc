package drill

import (
	"errors"

	"google.golang.org/grpc/codes"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/services/fault"
)

// reasons are the machine-readable reasons of what play refuses.
var reasons = map[play.Kind]struct {
	code   codes.Code
	reason string
}{
	play.NoSuchVariant: {codes.InvalidArgument, "NO_SUCH_VARIANT"},
	play.Ended:         {codes.FailedPrecondition, "DRILL_ENDED"},
	play.NotOneThing:   {codes.InvalidArgument, "NOT_ONE_THING"},
	play.NoSuchChoice:  {codes.InvalidArgument, "NO_SUCH_CHOICE"},
	play.NoFreeHands:   {codes.InvalidArgument, "NO_FREE_HANDS"},
	play.ActionRefused: {codes.InvalidArgument, "ACTION_REFUSED"},
	play.BadElapsed:    {codes.InvalidArgument, "BAD_ELAPSED"},
	play.TimeIsUp:      {codes.InvalidArgument, "TIME_IS_UP"},
	play.NoLimit:       {codes.InvalidArgument, "NO_LIMIT"},
	play.NothingToUndo: {codes.FailedPrecondition, "NOTHING_TO_UNDO"},
}

// refused makes a fault of what play answers. Anything that is not a refusal is a mistake of the scenario that its check
// did not find.
func refused(err error, what, id string) error {
	var r *play.Refusal
	if !errors.As(err, &r) {
		return fault.Wrap(err, codes.FailedPrecondition, "SCENARIO_FAULTY", "The scenario cannot be played on from here: "+err.Error()+". Nothing was recorded. Bring the drill to its safe stop, and have the scenario corrected.", what, id)
	}
	known, ok := reasons[r.Kind]
	if !ok {
		known.code, known.reason = codes.InvalidArgument, "REFUSED"
	}
	f := fault.Wrap(err, known.code, known.reason, "Not taken: "+r.Error()+".", what, id)
	var e *eye.Refusal
	if errors.As(err, &e) {
		f.Meta["verb"], f.Meta["argument"] = e.Verb, e.Arg
	}
	return f
}
