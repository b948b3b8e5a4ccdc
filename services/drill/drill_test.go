package drill

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc/rpctest"
)

func TestDepsAreAskedFor(t *testing.T) {
	whole := Deps{Ledger: &ledger.Ledger{}, Roster: struct{ rosterClient }{}, Scenarios: struct{ scenarioClient }{}, Logger: rpctest.Silent()}
	if _, err := New(whole); err != nil {
		t.Errorf("complete: %v", err)
	}
	for name, take := range map[string]func(*Deps){
		"ledger": func(d *Deps) { d.Ledger = nil }, "roster": func(d *Deps) { d.Roster = nil }, "scenarios": func(d *Deps) { d.Scenarios = nil },
		"logger": func(d *Deps) { d.Logger = nil }, "sessions": func(d *Deps) { d.Sessions = -1 },
	} {
		d := whole
		take(&d)
		if _, err := New(d); err == nil {
			t.Errorf("an office without %s was made", name)
		}
	}
}

func TestStart(t *testing.T) {
	s := start(t)
	resp := s.drill("r1")
	d := resp.GetDrill()
	if !strings.HasPrefix(d.GetDrillId(), "d-") || d.GetState() != drillv1.DrillState_DRILL_STATE_RUNNING || d.GetVariant() != "easier" || d.GetSeed() != 7 ||
		d.GetModel() != eye.Model || d.GetShownAs() != "Practice list, second place" || d.GetStartedAt().AsTime() != s.clock.Now() || len(d.GetRubricDigest()) != 64 {
		t.Errorf("started as %v", d)
	}
	scene := resp.GetScene()
	choices := scene.GetChoices()
	if len(choices) != 4 || choices[3].GetId() != "close-and-refer" || scene.GetLimitS() != 20 || !scene.GetFreeHands() || scene.GetIndex() != 0 {
		t.Errorf("first scene %v", scene)
	}
	hidden := map[string]bool{}
	for _, m := range eye.MeasureTable() {
		hidden[m.Name] = m.Hidden
	}
	for _, shown := range []map[string]float64{scene.GetMachine(), scene.GetEye()} {
		if len(shown) == 0 {
			t.Error("nothing is shown of machine or eye")
		}
		for name := range shown {
			if hidden[name] {
				t.Errorf("the scene shows %s, which is hidden", name)
			}
		}
	}
	if scene.GetMachine()["bottle_cm"] != 88 {
		t.Errorf("the machine shows %v", scene.GetMachine())
	}
	got, err := s.client.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: d.GetDrillId(), AtLeast: resp.GetPosition()})
	if diff := cmp.Diff(&drillv1.GetDrillResponse{Drill: d, Scene: scene}, got, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("%v (-started +got):\n%s", err, diff)
	}
	if diff := cmp.Diff([]string{"DrillStarted"}, s.kinds(d.GetDrillId())); diff != "" {
		t.Error(diff)
	}
	drawn, err := s.client.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: "r2", PersonId: "bay-2", ScenarioId: "bench-case", ClockOff: true})
	if err != nil || drawn.GetDrill().GetSeed() == 0 || drawn.GetDrill().GetVariant() == "" || drawn.GetScene().GetLimitS() != 0 {
		t.Errorf("drawn: %v, %v", drawn, err)
	}
	if drawn.GetDrill().GetDrillId() == d.GetDrillId() {
		t.Error("two drills have one id")
	}
}

func TestStartRefuses(t *testing.T) {
	s := start(t)
	before := s.ledger.Head().Size
	for _, c := range []struct {
		name   string
		req    *drillv1.StartDrillRequest
		code   codes.Code
		reason string
	}{
		{"nobody", &drillv1.StartDrillRequest{RequestId: "a", PersonId: "nobody", ScenarioId: "bench-case"}, codes.NotFound, "NO_SUCH_PERSON"},
		{"a supervisor", &drillv1.StartDrillRequest{RequestId: "b", PersonId: "cedar-3", ScenarioId: "bench-case"}, codes.FailedPrecondition, "NOT_A_TRAINEE"},
		{"no scenario", &drillv1.StartDrillRequest{RequestId: "c", PersonId: "ash-1", ScenarioId: "none-such"}, codes.NotFound, "NO_SUCH_SCENARIO"},
		{"no variant", &drillv1.StartDrillRequest{RequestId: "d", PersonId: "ash-1", ScenarioId: "bench-case", Variant: "hardest"}, codes.InvalidArgument, "NO_SUCH_VARIANT"},
		{"no request id", &drillv1.StartDrillRequest{PersonId: "ash-1", ScenarioId: "bench-case"}, codes.InvalidArgument, "REQUEST_REFUSED"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := s.client.StartDrill(ctx, c.req)
			rpctest.WantFault(t, err, c.code, c.reason)
		})
	}
	if got := s.ledger.Head().Size; got != before {
		t.Errorf("refusals were recorded: %d entries more", got-before)
	}
}

// A whole drill: what is answered is what is on record, and the record holds what the eye did.
func TestDecideToTheEnd(t *testing.T) {
	s := start(t)
	begun := s.drill("r1")
	id := begun.GetDrill().GetDrillId()
	first := s.decide(choose(id, 0, "hold", 1.5))
	if d := first.GetDrill(); d.GetDecisions() != 1 || d.GetSeconds() <= 1.5 || first.GetScene().GetIndex() != 1 || d.GetState() != drillv1.DrillState_DRILL_STATE_RUNNING {
		t.Errorf("after the first decision: %v", first)
	}
	free := s.decide(act(id, 1, 0.5, say("help"), &drillv1.Action{Verb: "pedal", Numbers: map[string]float64{"position": 1, "for": 0.5}}))
	s.decide(choose(id, 2, "fill", 2))
	last := choose(id, 3, "hooks-first", 3)
	last.Reason = "holds whatever the span"
	ended := s.decide(last)
	d := ended.GetDrill()
	if d.GetState() != drillv1.DrillState_DRILL_STATE_ENDED || d.GetEnding() != "held" || !d.GetSafe() || d.GetEndedAt().AsTime() != s.clock.Now() ||
		len(ended.GetScene().GetChoices()) != 0 || ended.GetScene().GetEnding() != "The bag is held." {
		t.Errorf("at the end: %v", ended)
	}
	want := []string{"DrillStarted", "DecisionTaken", "DecisionTaken", "DecisionTaken", "DecisionTaken", "DrillEnded"}
	if diff := cmp.Diff(want, s.kinds(id)); diff != "" {
		t.Errorf("recorded (-want +got):\n%s", diff)
	}
	timeline := s.timeline(id)
	steps := timeline.GetTimeline().GetSteps()
	if len(steps) != 4 || steps[0].GetChoice() != "hold" || steps[0].GetStance() != drillv1.Stance_STANCE_PREFERRED || steps[0].GetElapsedS() != 1.5 ||
		len(steps[1].GetFree()) != 2 || steps[1].GetFree()[1].GetNumbers()["for"] != 0.5 || steps[3].GetReason() != "holds whatever the span" || steps[3].GetNext() != "held" {
		t.Errorf("timeline %v", timeline)
	}
	// What the scene showed after a decision is what stands in the record of that decision.
	after := steps[1].GetDoing().GetAfter()
	for name, value := range free.GetScene().GetEye() {
		if at := slices.Index(timeline.GetTimeline().GetMeasures(), name); at < 0 || after[at] != value {
			t.Errorf("the scene showed %s %v, the record has another", name, value)
		}
	}
	stored, err := s.ledger.Stored(ctx, timeline.GetEndedPosition().GetSequence(), 1)
	if err != nil || len(stored) != 1 || string(stored[0].Leaf[:]) != string(timeline.GetEndedEntryHash()) {
		t.Errorf("the hash of the end is not that of entry %v: %v", timeline.GetEndedPosition(), err)
	}
	if e, err := stored[0].Entry(); err != nil || e.GetKind() != "DrillEnded" || e.GetSubjectId() != id {
		t.Errorf("the end is said to be entry %v, %v", e, err)
	}
}

func (s *site) timeline(id string) *drillv1.GetTimelineResponse {
	s.t.Helper()
	resp, err := s.client.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: id})
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

func TestDecideRefuses(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	s.decide(choose(id, 0, "hold", 1))
	before := s.ledger.Head().Size
	ranOut := choose(id, 1, "", 0)
	ranOut.What = &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
	for _, c := range []struct {
		name   string
		req    *drillv1.DecideRequest
		code   codes.Code
		reason string
	}{
		{"no such drill", choose("d-none", 0, "hold", 1), codes.NotFound, "NO_SUCH_DRILL"},
		{"a decision that was taken", with(choose(id, 0, "fill", 1), "other"), codes.Aborted, "DECISION_TAKEN"},
		{"a decision too far ahead", choose(id, 2, "fill", 1), codes.Aborted, "DECISION_TAKEN"},
		{"a choice of another stage", choose(id, 1, "ring", 1), codes.InvalidArgument, "NO_SUCH_CHOICE"},
		{"no such choice", choose(id, 1, "sing", 1), codes.InvalidArgument, "NO_SUCH_CHOICE"},
		{"beyond the limit", choose(id, 1, "hold", 21), codes.InvalidArgument, "TIME_IS_UP"},
		{"an unknown verb", act(id, 1, 1, &drillv1.Action{Verb: "sing"}), codes.InvalidArgument, "ACTION_REFUSED"},
		{"an impossible action", act(id, 1, 1, &drillv1.Action{Verb: "pedal", Numbers: map[string]float64{"position": 9}}), codes.InvalidArgument, "ACTION_REFUSED"},
		{"half of it impossible", act(id, 1, 1, say("help"), &drillv1.Action{Verb: "cut"}), codes.InvalidArgument, "ACTION_REFUSED"},
		{"nothing decided", &drillv1.DecideRequest{RequestId: "x", DrillId: id, Index: 1}, codes.InvalidArgument, "REQUEST_REFUSED"},
		{"time that is no number", choose(id, 1, "hold", math.NaN()), codes.InvalidArgument, "REQUEST_REFUSED"},
		{"a request id used for another decision", with(choose(id, 1, "fill", 1), id+"-0"), codes.AlreadyExists, "REQUEST_ID_REUSED"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := s.client.Decide(ctx, c.req)
			rpctest.WantFault(t, err, c.code, c.reason)
		})
	}
	_, err := s.client.Decide(ctx, choose(id, 5, "fill", 1))
	if next := fault.From(err).Meta["next"]; next != "1" {
		t.Errorf("the refusal names decision %q as the next one", next)
	}
	if got := s.ledger.Head().Size; got != before {
		t.Errorf("refusals were recorded: %d entries more", got-before)
	}
	// Whatever was refused left no trace: the drill goes on as an untouched one does.
	twin := s.drill("r2").GetDrill().GetDrillId()
	s.decide(choose(twin, 0, "hold", 1))
	if diff := cmp.Diff(s.decide(choose(twin, 1, "fill", 2)).GetScene(), s.decide(choose(id, 1, "fill", 2)).GetScene(), protocmp.Transform()); diff != "" {
		t.Errorf("after refusals the drill differs from its twin (-twin +it):\n%s", diff)
	}
	late := choose(id, 2, "", 0)
	late.What = &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
	_, err = s.client.Decide(ctx, late)
	rpctest.WantFault(t, err, codes.InvalidArgument, "NO_LIMIT")
}

func with(req *drillv1.DecideRequest, requestID string) *drillv1.DecideRequest {
	req.RequestId = requestID
	return req
}

func TestTheClockRunsOut(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	req := choose(id, 0, "", 3)
	req.What = &drillv1.DecideRequest_ClockRanOut{ClockRanOut: true}
	resp := s.decide(req)
	if resp.GetDrill().GetSeconds() < 20 {
		t.Errorf("the drill's clock stands at %g", resp.GetDrill().GetSeconds())
	}
	if _, err := s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "stop", DrillId: id}); err != nil {
		t.Fatal(err)
	}
	if step := s.timeline(id).GetTimeline().GetSteps()[0]; !step.GetTimedOut() || step.GetElapsedS() != 20 || step.GetNext() != "drift" {
		t.Errorf("recorded %v", step)
	}
}

func TestAfterTheEnd(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	_, err := s.client.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: id})
	rpctest.WantFault(t, err, codes.FailedPrecondition, "DRILL_RUNNING")
	finish := &drillv1.FinishDrillRequest{RequestId: "stop", DrillId: id, ElapsedS: 500, Reason: "beyond me"}
	first, err := s.client.FinishDrill(ctx, finish)
	if err != nil || first.GetDrill().GetState() != drillv1.DrillState_DRILL_STATE_ENDED || !first.GetDrill().GetSafe() || first.GetPosition() == nil {
		t.Fatalf("finished: %v, %v", first, err)
	}
	_, err = s.client.Decide(ctx, choose(id, 1, "hold", 1))
	rpctest.WantFault(t, err, codes.FailedPrecondition, "DRILL_ENDED")
	_, err = s.client.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "break", DrillId: id, Reason: "late"})
	rpctest.WantFault(t, err, codes.FailedPrecondition, "DRILL_ENDED")
	again, err := s.client.FinishDrill(ctx, finish)
	if diff := cmp.Diff(first, again, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("the same request again: %v (-first +again):\n%s", err, diff)
	}
	finish.RequestId = "stop-2"
	other, err := s.client.FinishDrill(ctx, finish)
	first.Position = nil
	if diff := cmp.Diff(first, other, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("another request: %v (-first +other):\n%s", err, diff)
	}
	if diff := cmp.Diff([]string{"DrillStarted", "DecisionTaken", "DrillEnded"}, s.kinds(id)); diff != "" {
		t.Error(diff)
	}
	if step := s.timeline(id).GetTimeline().GetSteps()[0]; step.GetChoice() != "close-and-refer" || step.GetElapsedS() != 20 || step.GetReason() != "beyond me" {
		t.Errorf("recorded %v", step)
	}
	if n := s.office.sessions.count(); n != 0 {
		t.Errorf("%d sessions are kept though every drill is over", n)
	}
}

func TestAbandon(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	s.decide(choose(id, 0, "hold", 1))
	req := &drillv1.AbandonDrillRequest{RequestId: "break", DrillId: id, Reason: "power cut"}
	first, err := s.client.AbandonDrill(ctx, req)
	if err != nil || first.GetDrill().GetState() != drillv1.DrillState_DRILL_STATE_ABANDONED || first.GetDrill().GetDecisions() != 1 || first.GetDrill().GetEndedAt() == nil {
		t.Fatalf("abandoned: %v, %v", first, err)
	}
	again, err := s.client.AbandonDrill(ctx, req)
	if diff := cmp.Diff(first, again, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("the same request again: %v (-first +again):\n%s", err, diff)
	}
	_, err = s.client.Decide(ctx, choose(id, 1, "hold", 1))
	rpctest.WantFault(t, err, codes.FailedPrecondition, "DRILL_ABANDONED")
	got, err := s.client.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: id})
	if err != nil || len(got.GetScene().GetChoices()) != 0 || !cmp.Equal(got.GetDrill(), first.GetDrill(), protocmp.Transform()) {
		t.Errorf("it stands as %v, %v", got, err)
	}
	timeline := s.timeline(id)
	if len(timeline.GetTimeline().GetSteps()) != 1 || timeline.GetEndedEntryHash() != nil {
		t.Errorf("timeline %v", timeline)
	}
	// The first decision, sent again, is answered as it was.
	if resp := s.decide(choose(id, 0, "hold", 1)); resp.GetDrill().GetState() != drillv1.DrillState_DRILL_STATE_RUNNING || resp.GetDrill().GetEndedAt() != nil {
		t.Errorf("the first decision again: %v", resp)
	}
	_, err = s.client.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "no", DrillId: "d-none", Reason: "x"})
	rpctest.WantFault(t, err, codes.NotFound, "NO_SUCH_DRILL")
}
