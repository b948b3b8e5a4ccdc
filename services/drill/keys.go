package drill

import (
	"fmt"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// viewName names the view and is part of its keys in the store.
const viewName = "drills"

// Spaces of the view's keys.
const (
	spaceDrills    = "d/" // then the drill's id: DrillRow
	spaceStarts    = "o/" // then the drill's id: DrillStarted
	spaceDecisions = "s/" // then the drill's id and the decision's index: DecisionTaken
	spaceAll       = "n/" // then the place, newest first: IndexRow
	spacePersons   = "p/" // then the person's id and the place: IndexRow
	spaceStates    = "t/" // then the state and the place: IndexRow
)

func drillKey(id string) string      { return spaceDrills + id }
func startKey(id string) string      { return spaceStarts + id }
func decisionSpace(id string) string { return spaceDecisions + id + "/" }

func decisionKey(id string, index uint32) string {
	return fmt.Sprintf("%s%08d", decisionSpace(id), index)
}

func personSpace(id string) string { return spacePersons + id + "/" }

func stateSpace(s drillv1.DrillState) string { return fmt.Sprintf("%s%d/", spaceStates, s) }

// newestFirst is a drill's place in a list: by when it was started, the newest first; what was started in the same
// microsecond, by its place in the ledger.
func newestFirst(row *drillv1.DrillRow) string {
	micros := uint64(row.GetDrill().GetStartedAt().AsTime().UnixMicro())
	return fmt.Sprintf("%016x-%016x-%s", ^micros, ^row.GetStarted(), row.GetSite())
}
