package play

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"zonule/scenarios/eye"
)

func squeeze(pressure, seconds float64) eye.Action {
	return eye.Action{Verb: "squeeze", Num: map[string]float64{"pressure": pressure, "for": seconds}}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func kindOf(t *testing.T, err error, want Kind) {
	t.Helper()
	var r *Refusal
	if !errors.As(err, &r) || r.Kind != want || r.Reason == "" || r.Instead == "" {
		t.Errorf("%v, want a refusal of kind %d with what to do", err, want)
	}
}

// Pauses, annotations and the clock leave the eye alone: the same decisions give the same answers with them and
// without.
func TestWhatAFacilitatorNotesLeavesTheEyeAlone(t *testing.T) {
	opts := Options{Variant: "usual", Seed: 5}
	plain, noted := start(t, opts), start(t, opts)
	decide(t, plain, path()[0])
	must(t, noted.Annotate(1, " looks at the assistant "))
	must(t, noted.Pause(2))
	if !noted.IsPaused() {
		t.Error("not paused")
	}
	_, err := noted.Decide(path()[0])
	kindOf(t, err, Paused)
	kindOf(t, noted.Pause(2), Paused)
	kindOf(t, noted.Inject(2, squeeze(12, 2)), Paused)
	must(t, noted.Annotate(2, "the phone rang"))
	must(t, noted.Resume())
	kindOf(t, noted.Resume(), NotPaused)
	decide(t, noted, path()[0])
	a, b := plain.Timeline(), noted.Timeline()
	var kinds []EventKind
	for _, e := range b.Events {
		kinds = append(kinds, e.Kind)
		if e.Before != 0 {
			t.Errorf("the %s stands before decision %d", e.Kind, e.Before)
		}
	}
	if want := []EventKind{EventAnnotate, EventPause, EventAnnotate, EventResume}; !reflect.DeepEqual(kinds, want) {
		t.Errorf("events %v, want %v", kinds, want)
	}
	if b.Events[0].Words != "looks at the assistant" || b.Events[0].At != 1 || b.Events[3].At != 2 {
		t.Errorf("events %+v", b.Events)
	}
	b.Events = nil
	if !reflect.DeepEqual(a, b) {
		t.Errorf("the decisions were answered otherwise:\n%s", cmp.Diff(a, b))
	}
}

func TestInject(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	plain := start(t, Options{Variant: "usual", Seed: 5})
	must(t, d.Inject(2, squeeze(25, 2)))
	scene := d.Scene()
	if scene.Index != 0 || d.Stage() != plain.Stage() {
		t.Errorf("decision %d at %s after an injection", scene.Index, d.Stage())
	}
	step := decide(t, d, Decision{Choice: "hold", Elapsed: 3})
	same := decide(t, plain, Decision{Choice: "hold", Elapsed: 3})
	tl := d.Timeline()
	e := tl.Events[0]
	pressure, _ := eye.MeasureIndex("iop_mmhg")
	if e.Kind != EventInject || e.At != 2 || e.Elapsed != 2 || !strings.HasPrefix(e.Words, "squeeze: ") || math.Abs(e.Doing.End-e.Doing.Start-2) > 0.1 {
		t.Errorf("event %+v", e)
	}
	if rise := e.Doing.High[pressure] - same.Thinking.High[pressure]; rise < 5 {
		t.Errorf("the squeeze raised the pressure by %.1f mmHg only", rise)
	}
	// The trainee's thinking is 3 s in two pieces; the squeeze itself is not part of it.
	if step.Thinking.Start != 0 || math.Abs(step.Thinking.End-5) > 0.1 || step.Elapsed != 3 {
		t.Errorf("thinking from %g to %g", step.Thinking.Start, step.Thinking.End)
	}
	for _, m := range step.Thinking.Marks {
		if m.Name == "squeezed" {
			t.Error("the squeeze counts as the trainee's thinking")
		}
	}
	if step.Thinking.High[pressure] >= e.Doing.High[pressure] {
		t.Error("the pressure of the squeeze stands in the trainee's thinking")
	}
}

// Gel brought about is in the chamber afterwards and is found as gel that came by itself would be.
func TestInjectGel(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	must(t, d.Inject(1, eye.Action{Verb: "gel-comes", Num: map[string]float64{"volume": 8, "strand": 0.4}}))
	must(t, d.Inject(1.5, eye.Action{Verb: "gel-comes"}))
	step := decide(t, d, Decision{Choice: "hold", Elapsed: 3})
	gel, _ := step.Doing.After.Get("vitreous_in_chamber_ul")
	if gel < 10 {
		t.Errorf("%.1f uL of gel in the chamber", gel)
	}
	if e := d.Timeline().Events[1]; e.Words != "gel comes: 3 uL, strand 0" {
		t.Errorf("event %q", e.Words)
	}
}

func TestWhatCannotBeBroughtAbout(t *testing.T) {
	for _, v := range Injectable() {
		if v.Meaning == "" {
			t.Errorf("%s has no meaning", v.Name)
		}
	}
	cases := []struct {
		name    string
		elapsed float64
		action  eye.Action
		kind    Kind
	}{
		{"a surgeon's action", 1, eye.Action{Verb: "withdraw"}, NotListed},
		{"no action", 1, eye.Action{}, NotListed},
		{"more than the bottle", 1, eye.Action{Verb: "machine", Num: map[string]float64{"bottle": 30, "vacuum": 100}}, NotListed},
		{"a machine without a bottle", 1, eye.Action{Verb: "machine"}, NotListed},
		{"a mode", 1, eye.Action{Verb: "machine", Num: map[string]float64{"bottle": 30}, Word: map[string]string{"mode": "torsional"}}, NotListed},
		{"too strong", 1, squeeze(400, 2), NotListed},
		{"no number", 1, squeeze(math.NaN(), 2), NotListed},
		{"too much gel", 1, eye.Action{Verb: "gel-comes", Num: map[string]float64{"volume": 90}}, NotListed},
		{"an unknown word", 1, eye.Action{Verb: "clamp", Word: map[string]string{"state": "half"}}, ActionRefused},
		{"before now", -1, squeeze(12, 2), BadElapsed},
		{"no time", math.NaN(), squeeze(12, 2), BadElapsed},
		{"after the limit", 299, squeeze(12, 2), TimeIsUp},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := start(t, Options{Variant: "usual", Seed: 5})
			before := d.Timeline()
			kindOf(t, asRefusal(d.Inject(c.elapsed, c.action)), c.kind)
			if !reflect.DeepEqual(before, d.Timeline()) {
				t.Error("a refused event changed the drill")
			}
		})
	}
	d := start(t, Options{Variant: "usual", Seed: 5})
	must(t, d.Inject(3, squeeze(12, 2)))
	kindOf(t, d.Inject(2, squeeze(12, 2)), BadElapsed)
	_, err := d.Decide(Decision{Choice: "hold", Elapsed: 2})
	kindOf(t, err, BadElapsed)
	kindOf(t, d.Annotate(4, " "), NoWords)
	kindOf(t, d.Annotate(4, strings.Repeat("a", MaxWords+1)), NoWords)
	decide(t, d, Decision{Choice: "close-and-refer", Elapsed: 4})
	kindOf(t, d.Pause(0), Ended)
	kindOf(t, d.Annotate(0, "late"), Ended)
	kindOf(t, d.SetClock(false, 0), Ended)
	kindOf(t, d.Inject(0, squeeze(12, 2)), Ended)
}

// asRefusal gives a refusal of the eye that says what to do only in its own words an Instead.
func asRefusal(err error) error {
	var r *Refusal
	if errors.As(err, &r) && r.Instead == "" {
		c := *r
		c.Instead = "see the reason"
		return &c
	}
	return err
}

func TestTheClockCanBeSwitchedOffOnTheWay(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	if d.Scene().LimitS == 0 {
		t.Fatal("the first stage has no limit")
	}
	must(t, d.SetClock(true, 0)) // it is on already
	must(t, d.SetClock(false, 2))
	if d.Scene().LimitS != 0 {
		t.Error("the limit stands although the clock is off")
	}
	step := decide(t, d, Decision{Choice: "hold", Elapsed: 100})
	if step.Thinking.End > 21 {
		t.Errorf("thinking without a clock cost the eye %g s", step.Thinking.End)
	}
	must(t, d.SetClock(true, 0))
	tl := d.Timeline()
	if len(tl.Events) != 2 || tl.Events[0].Kind != EventClockOff || tl.Events[1].Kind != EventClockOn || tl.Events[1].Before != 1 || tl.ClockOff {
		t.Errorf("events %+v, clock off from the start: %v", tl.Events, tl.ClockOff)
	}
}

// A drill with every kind of event, and a decision taken back between them, replays exactly, from any place.
func TestReplayWithEvents(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	must(t, d.Annotate(0.5, "calm"))
	must(t, d.Inject(1, squeeze(20, 1)))
	must(t, d.Inject(1.5, eye.Action{Verb: "cough"}))
	decide(t, d, Decision{Choice: "hold", Elapsed: 3})
	must(t, d.Annotate(19, "this scene goes away again"))
	must(t, d.Undo())
	must(t, d.Pause(3))
	must(t, d.Resume())
	decide(t, d, Decision{Choice: "hold", Elapsed: 4})
	must(t, d.SetClock(false, 1))
	must(t, d.Inject(2, eye.Action{Verb: "gel-comes", Num: map[string]float64{"volume": 2}}))
	kindOf(t, d.Undo(), NothingToUndo)
	decide(t, d, Decision{Choice: "turn", Elapsed: 3})
	must(t, d.Pause(1))
	again, err := Replay(scenario(t), d.Timeline())
	must(t, err)
	if !reflect.DeepEqual(again.Timeline(), d.Timeline()) {
		t.Errorf("the replay differs:\n%s", cmp.Diff(d.Timeline(), again.Timeline()))
	}
	if !again.IsPaused() || again.Scene().LimitS != d.Scene().LimitS {
		t.Error("the replay does not stand where the drill stood")
	}
	if diff := Compare(d.Timeline(), again.Timeline(), 0); len(diff) > 0 {
		t.Errorf("%v", diff)
	}
	other := d.Timeline()
	other.Events[1].Doing.After[3]++
	other.Events = other.Events[:4]
	if diff := Compare(other, again.Timeline(), 1e-9); len(diff) != 2 {
		t.Errorf("changed events give %d differences: %v", len(diff), diff)
	}
	broken := d.Timeline()
	broken.Events[0].Kind = "sing"
	if _, err := Replay(scenario(t), broken); err == nil {
		t.Error("an unknown event was replayed")
	}
}
