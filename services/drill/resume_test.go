package drill

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/rpc/rpctest"
)

// plan is a drill's decisions, one of each kind.
func plan(id string) []*drillv1.DecideRequest {
	ring := choose(id, 4, "ring", 2)
	ring.Reason = "the gap is small"
	return []*drillv1.DecideRequest{
		choose(id, 0, "hold", 1.25), act(id, 1, 2, say("zonules"), &drillv1.Action{Verb: "machine", Numbers: map[string]float64{"bottle": 60}}),
		choose(id, 2, "turn", 4), choose(id, 3, "fill", 0.5), ring,
	}
}

// A drill that was cut short anywhere goes on with the same eye: whatever is answered, after a restart before any
// decision, is what an uninterrupted drill answers.
func TestADrillGoesOnAfterARestart(t *testing.T) {
	s := start(t)
	twin := s.drill("r0").GetDrill().GetDrillId()
	var want []*drillv1.DecideResponse
	for _, req := range plan(twin) {
		want = append(want, s.decide(req))
	}
	for cut := range plan("") {
		begun := s.drill(fmt.Sprintf("cut-%d", cut))
		id := begun.GetDrill().GetDrillId()
		var answers []*drillv1.DecideResponse
		for i, req := range plan(id) {
			if i == cut {
				s.reopen()
				s.check()
				before, err := s.client.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: id})
				if last := lastScene(begun, answers); err != nil || !cmp.Equal(last, before.GetScene(), protocmp.Transform()) {
					t.Errorf("cut before decision %d: the scene is another, %v:\n%s", cut, err, cmp.Diff(last, before.GetScene(), protocmp.Transform()))
				}
				if again := s.drill(fmt.Sprintf("cut-%d", cut)); !cmp.Equal(begun, again, protocmp.Transform()) {
					t.Errorf("the start, sent again:\n%s", cmp.Diff(begun, again, protocmp.Transform()))
				}
				for k, answer := range answers {
					if again := s.decide(plan(id)[k]); !cmp.Equal(answer, again, protocmp.Transform()) {
						t.Errorf("decision %d, sent again after the restart:\n%s", k, cmp.Diff(answer, again, protocmp.Transform()))
					}
				}
			}
			answers = append(answers, s.decide(req))
		}
		same := cmp.Options{protocmp.Transform(), protocmp.IgnoreFields(&drillv1.DecideResponse{}, "position"), protocmp.IgnoreFields(&drillv1.Drill{}, "drill_id")}
		if diff := cmp.Diff(want, answers, same); diff != "" {
			t.Errorf("cut before decision %d (-uninterrupted +it):\n%s", cut, diff)
		}
		if diff := cmp.Diff(s.timeline(twin).GetTimeline(), s.timeline(id).GetTimeline(), protocmp.Transform()); diff != "" {
			t.Errorf("cut before decision %d: the timelines differ:\n%s", cut, diff)
		}
	}
}

func lastScene(begun *drillv1.StartDrillResponse, answers []*drillv1.DecideResponse) *drillv1.Scene {
	if len(answers) == 0 {
		return begun.GetScene()
	}
	return answers[len(answers)-1].GetScene()
}

// With room for one session only, two drills played in turns are played again from their records all the time.
func TestSessionsMakeRoom(t *testing.T) {
	s := start(t)
	s.sessions = 1
	s.reopen()
	a, b := s.drill("a").GetDrill().GetDrillId(), s.drill("b").GetDrill().GetDrillId()
	for i := range plan("") {
		x, y := s.decide(plan(a)[i]), s.decide(plan(b)[i])
		if diff := cmp.Diff(x.GetScene(), y.GetScene(), protocmp.Transform()); diff != "" {
			t.Errorf("decision %d (-a +b):\n%s", i, diff)
		}
		if n := s.office.sessions.count(); n > 1 {
			t.Errorf("%d sessions are kept", n)
		}
	}
}

// forged appends events as an older program, or a damaged one, would have.
func (s *site) forged(events ...ledger.Event) {
	s.t.Helper()
	_, err := s.ledger.Append(ctx, ledger.Command{Actor: "test", Decide: func(ledger.Reader) ([]ledger.Event, error) { return events, nil }})
	if err != nil {
		s.t.Fatal(err)
	}
}

// recordedStart gives the first event of a drill, for a forged one to be made from.
func (s *site) recordedStart(id, as string) *drillv1.DrillStarted {
	s.t.Helper()
	entries, err := s.ledger.Entries(ctx, 1, 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, e := range entries {
		started := &drillv1.DrillStarted{}
		if e.GetSubjectId() == id && e.GetPayload().MessageIs(started) {
			if err := e.GetPayload().UnmarshalTo(started); err != nil {
				s.t.Fatal(err)
			}
			started.GetDrill().DrillId = as
			return started
		}
	}
	s.t.Fatalf("drill %s was not started", id)
	return nil
}

func TestADrillOfAnotherModelIsNotGoneOnWith(t *testing.T) {
	s := start(t)
	old := s.recordedStart(s.drill("r1").GetDrill().GetDrillId(), "d-old")
	old.GetDrill().Model = "eye/0"
	s.forged(ledger.Event{Subject: "d-old", Payload: old})
	_, err := s.client.Decide(ctx, choose("d-old", 0, "hold", 1))
	rpctest.WantFault(t, err, codes.FailedPrecondition, "MODEL_CHANGED")
	if m := fault.From(err).Meta; m["recorded"] != "eye/0" || m["decision"] != "0" {
		t.Errorf("the refusal says %v", m)
	}
	_, err = s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "stop", DrillId: "d-old"})
	rpctest.WantFault(t, err, codes.FailedPrecondition, "MODEL_CHANGED")
	if _, err := s.client.AbandonDrill(ctx, &drillv1.AbandonDrillRequest{RequestId: "break", DrillId: "d-old", Reason: "another model"}); err != nil {
		t.Errorf("it cannot be abandoned: %v", err)
	}
}

func TestADrillThatDoesNotReplayIsNotGoneOnWith(t *testing.T) {
	s := start(t)
	source := s.drill("r1").GetDrill().GetDrillId()
	s.decide(choose(source, 0, "hold", 1))
	s.decide(choose(source, 1, "fill", 1))
	if _, err := s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "stop", DrillId: source}); err != nil {
		t.Fatal(err)
	}
	steps := s.timeline(source).GetTimeline().GetSteps()
	for name, c := range map[string]struct {
		change   func(steps []*drillv1.Step)
		decision string
		says     string
	}{
		"a measure":                  {func(steps []*drillv1.Step) { steps[1].GetDoing().GetAfter()[2] *= 1.001 }, "1", "chamber_depth_mm"},
		"a measure before it":        {func(steps []*drillv1.Step) { steps[0].GetDoing().GetAfter()[2] *= 1.001 }, "0", "chamber_depth_mm"},
		"where it led":               {func(steps []*drillv1.Step) { steps[1].Next = "drift" }, "1", "next"},
		"a choice that never was":    {func(steps []*drillv1.Step) { steps[1].Choice = "sing" }, "?", "sing"},
		"within the tolerance":       {func(steps []*drillv1.Step) { steps[1].GetDoing().GetAfter()[2] *= 1 + 1e-9 }, "", ""},
		"a measure no longer known":  {nil, "", ""},
		"a measure not known before": {nil, "", ""},
	} {
		id := "d-" + strings.ReplaceAll(name, " ", "-")
		started := s.recordedStart(source, id)
		switch name {
		case "a measure no longer known":
			started.Measures = append(started.Measures, "chamber_colour")
		case "a measure not known before":
			started.Measures[2] = "chamber_colour"
		}
		var mine []*drillv1.Step
		for _, step := range steps[:2] {
			mine = append(mine, proto.CloneOf(step))
		}
		if c.change != nil {
			c.change(mine)
		}
		s.forged(ledger.Event{Subject: id, Payload: started})
		for _, step := range mine {
			s.forged(ledger.Event{Subject: id, Payload: &drillv1.DecisionTaken{DrillId: id, Step: step}})
		}
		t.Run(name, func(t *testing.T) {
			_, err := s.client.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: "stop-" + id, DrillId: id})
			if c.decision == "" {
				if err != nil {
					t.Errorf("it was refused: %v", err)
				}
				return
			}
			rpctest.WantFault(t, err, codes.DataLoss, "REPLAY_DIFFERS")
			if f := fault.From(err); f.Meta["decision"] != c.decision || !strings.Contains(f.Sentence, c.says) {
				t.Errorf("the refusal is %v", err)
			}
		})
	}
}

// Of many clients that send the next decision at once, one is taken, and the others learn that it was.
func TestOneDecisionOfManyIsTaken(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	for index := range uint32(3) {
		const clients = 8
		answers, errs := make([]*drillv1.DecideResponse, clients), make([]error, clients)
		var all sync.WaitGroup
		for c := range clients {
			all.Go(func() {
				answers[c], errs[c] = s.client.Decide(ctx, with(choose(id, index, "hold", float64(c)), fmt.Sprintf("client-%d-%d", c, index)))
			})
		}
		all.Wait()
		taken := 0
		for c, err := range errs {
			if err == nil {
				taken++
				if answers[c].GetDrill().GetDecisions() != index+1 {
					t.Errorf("the decision that was taken is answered with %v", answers[c])
				}
				continue
			}
			rpctest.WantFault(t, err, codes.Aborted, "DECISION_TAKEN")
		}
		if taken != 1 {
			t.Errorf("%d of the decisions %d were taken", taken, index)
		}
	}
	if diff := cmp.Diff([]string{"DrillStarted", "DecisionTaken", "DecisionTaken", "DecisionTaken"}, s.kinds(id)); diff != "" {
		t.Error(diff)
	}
}

// The same request sent many times at once is recorded once and answered alike.
func TestOneRequestSentManyTimes(t *testing.T) {
	s := start(t)
	id := s.drill("r1").GetDrill().GetDrillId()
	answers, errs := make([]*drillv1.DecideResponse, 8), make([]error, 8)
	var all sync.WaitGroup
	for c := range answers {
		all.Go(func() { answers[c], errs[c] = s.client.Decide(ctx, choose(id, 0, "hold", 1)) })
	}
	all.Wait()
	for c := range answers {
		if errs[c] != nil || !cmp.Equal(answers[0], answers[c], protocmp.Transform()) {
			t.Errorf("answer %d: %v\n%s", c, errs[c], cmp.Diff(answers[0], answers[c], protocmp.Transform()))
		}
	}
	if diff := cmp.Diff([]string{"DrillStarted", "DecisionTaken"}, s.kinds(id)); diff != "" {
		t.Error(diff)
	}
}

// A drill goes on with the text it was started with, whatever is published meanwhile.
func TestADrillKeepsItsText(t *testing.T) {
	s := start(t)
	begun := s.drill("r1")
	id := begun.GetDrill().GetDrillId()
	newer := s.publish(func(text string) string { return strings.ReplaceAll(text, "easier", "gentle") })
	if again := s.drill("r1"); !cmp.Equal(begun, again, protocmp.Transform()) {
		t.Errorf("the start, sent again, after its variant is gone: %v", again)
	}
	s.reopen()
	if resp := s.decide(choose(id, 0, "hold", 1)); resp.GetDrill().GetDigest() == newer.GetDigest() || resp.GetDrill().GetVariant() != "easier" {
		t.Errorf("it went on as %v", resp.GetDrill())
	}
	_, err := s.client.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: "r2", PersonId: "ash-1", ScenarioId: "bench-case", Variant: "easier"})
	rpctest.WantFault(t, err, codes.InvalidArgument, "NO_SUCH_VARIANT")
}

// A caller that gives up may or may not have been heard. Sent again, the request is recorded once, and the drill goes on
// as one in which nobody gave up.
func TestACallerThatGivesUp(t *testing.T) {
	s := start(t)
	id, twin := s.drill("r1").GetDrill().GetDrillId(), s.drill("r2").GetDrill().GetDrillId()
	gone, cancel := context.WithCancel(ctx)
	cancel()
	lost := 0
	for i := range uint32(12) {
		req := act(id, i, 0.2, say("look"))
		if _, err := s.office.Decide(gone, req); err != nil {
			lost++
		}
		want := s.decide(act(twin, i, 0.2, say("look")))
		got, err := s.office.Decide(ctx, req)
		if diff := cmp.Diff(want.GetScene(), got.GetScene(), protocmp.Transform()); err != nil || diff != "" {
			t.Fatalf("decision %d: %v (-twin +it):\n%s", i, err, diff)
		}
	}
	if got := len(s.kinds(id)); got != 13 {
		t.Errorf("%d entries were recorded, %d of 12 callers heard nothing", got, lost)
	}
}

func TestADrillIsNotEndless(t *testing.T) {
	s := start(t)
	s.office.longest = 3
	id := s.drill("r1").GetDrill().GetDrillId()
	for i := range uint32(3) {
		s.decide(act(id, i, 0, say("look")))
	}
	_, err := s.client.Decide(ctx, act(id, 3, 0, say("look")))
	rpctest.WantFault(t, err, codes.FailedPrecondition, "DRILL_TOO_LONG")
	if resp := s.decide(choose(id, 3, "close-and-refer", 0)); !resp.GetDrill().GetSafe() {
		t.Errorf("the safe stop led to %v", resp.GetDrill())
	}
}
