package drill

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/ledger"
	"zonule/services/rpc"
)

// usualPage is the number of drills in a page when none is asked for.
const usualPage = 50

// ListDrills pages through drills, newest first.
func (s *Server) ListDrills(ctx context.Context, req *drillv1.ListDrillsRequest) (*drillv1.ListDrillsResponse, error) {
	space, wanted := listOf(req)
	list := space + "?" + wanted.String()
	after, err := rpc.PageAfter(list, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	if after != "" {
		after = space + after
	}
	size := rpc.PageSize(req.GetPageSize(), usualPage)
	var found []place
	err = s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) (err error) {
		found, err = drillsAfter(r, space, after, size+1, wanted)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &drillv1.ListDrillsResponse{}
	if len(found) > size {
		found = found[:size]
		resp.NextPageToken = rpc.PageToken(list, strings.TrimPrefix(found[size-1].key, space))
	}
	for _, p := range found {
		resp.Drills = append(resp.Drills, p.drill)
	}
	return resp, nil
}

// listOf chooses the shortest list that holds what is asked for, and the state still to be looked for in it.
func listOf(req *drillv1.ListDrillsRequest) (space string, wanted drillv1.DrillState) {
	switch {
	case req.GetPersonId() != "":
		return personSpace(req.GetPersonId()), req.GetState()
	case req.GetState() != drillv1.DrillState_DRILL_STATE_UNSPECIFIED:
		return stateSpace(req.GetState()), drillv1.DrillState_DRILL_STATE_UNSPECIFIED
	}
	return spaceAll, drillv1.DrillState_DRILL_STATE_UNSPECIFIED
}

// place is a drill with its key in a list.
type place struct {
	key   string
	drill *drillv1.Drill
}

// drillsAfter reads at most n drills of a list that come after a key and are in the wanted state.
func drillsAfter(r ledger.Reader, space, after string, n int, wanted drillv1.DrillState) ([]place, error) {
	var found []place
	for {
		var keys, ids []string
		err := r.Scan(viewName, space, after, n, func(key string, value []byte) error {
			index := &drillv1.IndexRow{}
			err := proto.Unmarshal(value, index)
			keys, ids = append(keys, key), append(ids, index.GetDrillId())
			return err
		})
		if err != nil {
			return nil, err
		}
		for i, id := range ids {
			row, err := mustHave(r, id)
			if err != nil {
				return nil, err
			}
			if wanted == drillv1.DrillState_DRILL_STATE_UNSPECIFIED || row.GetDrill().GetState() == wanted {
				found = append(found, place{keys[i], row.GetDrill()})
			}
			if len(found) == n {
				return found, nil
			}
		}
		if len(keys) < n {
			return found, nil
		}
		after = keys[len(keys)-1]
	}
}
