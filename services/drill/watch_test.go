package drill

import (
	"context"
	"fmt"
	"io"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/rpc/rpctest"
)

func (s *site) watch(c context.Context, id string) func() (*drillv1.WatchDrillResponse, error) {
	s.t.Helper()
	stream, err := s.client.WatchDrill(c, &drillv1.WatchDrillRequest{DrillId: id})
	if err != nil {
		s.t.Fatal(err)
	}
	return stream.Recv
}

func TestWatch(t *testing.T) {
	s := start(t)
	begun := s.drill("r1")
	id := begun.GetDrill().GetDrillId()
	c, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	next := s.watch(c, id)
	got, err := next()
	if diff := cmp.Diff(&drillv1.WatchDrillResponse{Drill: begun.GetDrill(), Scene: begun.GetScene()}, got, protocmp.Transform()); err != nil || diff != "" {
		t.Fatalf("first: %v (-started +seen):\n%s", err, diff)
	}
	decided := s.decide(choose(id, 0, "hold", 1))
	got, err = next()
	if diff := cmp.Diff(&drillv1.WatchDrillResponse{Drill: decided.GetDrill(), Scene: decided.GetScene()}, got, protocmp.Transform()); err != nil || diff != "" {
		t.Fatalf("after a decision: %v (-answered +seen):\n%s", err, diff)
	}
	ended, err := s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "stop", DrillId: id})
	if err != nil {
		t.Fatal(err)
	}
	got, err = next()
	if diff := cmp.Diff(&drillv1.WatchDrillResponse{Drill: ended.GetDrill(), Scene: ended.GetScene()}, got, protocmp.Transform()); err != nil || diff != "" {
		t.Fatalf("at the end: %v (-answered +seen):\n%s", err, diff)
	}
	if _, err = next(); err != io.EOF {
		t.Errorf("after the end there is more: %v", err)
	}
	late := s.watch(c, id)
	if got, err := late(); err != nil || got.GetDrill().GetState() != drillv1.DrillState_DRILL_STATE_ENDED {
		t.Errorf("watched after the end: %v, %v", got, err)
	}
	if _, err := late(); err != io.EOF {
		t.Errorf("watching a drill that is over goes on: %v", err)
	}
}

// Who reads nothing for a while holds nobody up, and then sees the newest state, never an older one after a newer.
func TestASlowWatcherSkips(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	c, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	next := s.watch(c, id)
	const decisions = 30
	for i := range uint32(decisions) {
		s.decide(act(id, i, 0, say("look")))
	}
	if _, err := s.client.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "break", DrillId: id, Reason: "enough"}); err != nil {
		t.Fatal(err)
	}
	var seen []uint32
	last := drillv1.DrillState_DRILL_STATE_UNSPECIFIED
	for {
		got, err := next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		seen, last = append(seen, got.GetDrill().GetDecisions()), got.GetDrill().GetState()
	}
	if !slices.IsSorted(seen) || seen[len(seen)-1] != decisions || last != drillv1.DrillState_DRILL_STATE_ABANDONED {
		t.Errorf("saw the decisions %v, the last state %v", seen, last)
	}
}

func TestWatchEnds(t *testing.T) {
	s := start(t)
	_, err := s.watch(ctx, "d-none")()
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_DRILL")

	id := s.drill("r1").GetDrill().GetDrillId()
	c, cancel := context.WithCancel(ctx)
	next := s.watch(c, id)
	if _, err := next(); err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := next(); err == nil {
		t.Error("watching goes on after the client left")
	}
	next = s.watch(ctx, id)
	if _, err := next(); err != nil {
		t.Fatal(err)
	}
	s.office.Close()
	_, err = next()
	rpctest.WantFault(t, err, codes.Unavailable, "SITE_STOPPING")
	for range 100 { // the servers' side of the streams ends a moment later
		s.office.hub.mu.Lock()
		left := len(s.office.hub.watchers)
		s.office.hub.mu.Unlock()
		if left == 0 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Error("watchers are left in the hub")
}

func TestDrillsInPages(t *testing.T) {
	s := start(t)
	var newest, ofAsh, abandoned, runningNow []string
	for i := range 17 {
		person := "ash-1"
		if i%3 == 2 {
			person = "bay-2"
		}
		if i%5 != 0 { // some are started in the same instant
			s.clock.Add(time.Minute)
		}
		resp, err := s.client.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: fmt.Sprintf("r-%d", i), PersonId: person, ScenarioId: "bench-case", Seed: uint64(i + 1)})
		if err != nil {
			t.Fatal(err)
		}
		id := resp.GetDrill().GetDrillId()
		newest = append([]string{id}, newest...)
		if person == "ash-1" {
			ofAsh = append([]string{id}, ofAsh...)
		}
		switch i % 4 {
		case 1:
			if _, err := s.client.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "a-" + id, DrillId: id, Reason: "x"}); err != nil {
				t.Fatal(err)
			}
			if person == "ash-1" {
				abandoned = append([]string{id}, abandoned...)
			}
		case 2:
			if _, err := s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "f-" + id, DrillId: id}); err != nil {
				t.Fatal(err)
			}
		default:
			runningNow = append([]string{id}, runningNow...)
		}
	}
	for _, c := range []struct {
		req  *drillv1.ListDrillsRequest
		want []string
	}{
		{&drillv1.ListDrillsRequest{}, newest},
		{&drillv1.ListDrillsRequest{PersonId: "ash-1"}, ofAsh},
		{&drillv1.ListDrillsRequest{State: drillv1.DrillState_DRILL_STATE_RUNNING}, runningNow},
		{&drillv1.ListDrillsRequest{PersonId: "ash-1", State: drillv1.DrillState_DRILL_STATE_ABANDONED}, abandoned},
		{&drillv1.ListDrillsRequest{PersonId: "cedar-3"}, nil},
		{&drillv1.ListDrillsRequest{PersonId: "ash"}, nil},
	} {
		for _, size := range []int32{1, 4, 5, 17, 100} {
			var got []string
			c.req.PageSize, c.req.PageToken = size, ""
			for {
				resp, err := s.client.ListDrills(ctx, c.req)
				if err != nil {
					t.Fatal(err)
				}
				for _, d := range resp.GetDrills() {
					got = append(got, d.GetDrillId())
				}
				if c.req.PageToken = resp.GetNextPageToken(); c.req.PageToken == "" {
					break
				}
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("%v in pages of %d:\n got %v\nwant %v", c.req, size, got, c.want)
			}
		}
	}
	page, err := s.client.ListDrills(ctx, &drillv1.ListDrillsRequest{PageSize: 2})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.client.ListDrills(ctx, &drillv1.ListDrillsRequest{PageSize: 2, PersonId: "ash-1", PageToken: page.GetNextPageToken()})
	rpctest.WantFault(t, err, codes.InvalidArgument, "BAD_PAGE_TOKEN")
}
