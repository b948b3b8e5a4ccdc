package play

import (
	"errors"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

func scenario(t testing.TB) *script.Scenario {
	t.Helper()
	data, err := os.ReadFile("testdata/scenario.yaml")
	if err != nil {
		t.Fatal(err)
	}
	sc, err := script.Parse("scenario.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func start(t testing.TB, opts Options) *Drill {
	t.Helper()
	d, err := New(scenario(t), opts)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func decide(t testing.TB, d *Drill, decisions ...Decision) Step {
	t.Helper()
	var last Step
	for _, dec := range decisions {
		step, err := d.Decide(dec)
		if err != nil {
			t.Fatalf("%+v: %v", dec, err)
		}
		last = step
	}
	return last
}

// path is a whole drill: a loop, a free action, a time-out, a choice with a reason.
func path() []Decision {
	return []Decision{
		{Choice: "hold", Elapsed: 3},
		{Free: []eye.Action{{Verb: "machine", Num: map[string]float64{"bottle": 60}}, {Verb: "say", Word: map[string]string{"words": "help"}}}, Elapsed: 1},
		{TimedOut: true},
		{Choice: "fill-late", Elapsed: 2.5},
		{Choice: "ring", Elapsed: 4, Reason: "small gap"},
	}
}

func TestSameInputsSameTimeline(t *testing.T) {
	opts := Options{Variant: "usual", Seed: 5}
	a, b := start(t, opts), start(t, opts)
	decide(t, a, path()...)
	decide(t, b, path()...)
	if !a.Ended() || !reflect.DeepEqual(a.Timeline(), b.Timeline()) {
		t.Errorf("ended %v, or the timelines differ:\n%s", a.Ended(), cmp.Diff(a.Timeline(), b.Timeline()))
	}
	other := start(t, Options{Variant: "usual", Seed: 6})
	decide(t, other, path()...)
	if reflect.DeepEqual(a.Timeline().Steps[0].Doing.After, other.Timeline().Steps[0].Doing.After) {
		t.Error("another seed answers with the same eye")
	}
}

// A drill that was cut off after any decision and replayed goes on exactly as if it had not been.
func TestResumeByReplay(t *testing.T) {
	whole := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, whole, path()...)
	for cut := range path() {
		first := start(t, Options{Variant: "usual", Seed: 5})
		decide(t, first, path()[:cut]...)
		resumed, err := Replay(first.Scenario(), first.Timeline())
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(first.Scene(), resumed.Scene()); diff != "" {
			t.Fatalf("cut after %d: another scene:\n%s", cut, diff)
		}
		decide(t, resumed, path()[cut:]...)
		if !reflect.DeepEqual(whole.Timeline(), resumed.Timeline()) {
			t.Errorf("cut after %d: another timeline", cut)
		}
		if got := Compare(whole.Timeline(), resumed.Timeline(), 0); len(got) != 0 {
			t.Errorf("cut after %d: %v", cut, got)
		}
	}
}

func TestTimelineIsWhole(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, d, path()...)
	tl := d.Timeline()
	if tl.ScenarioID != "play-sample" || tl.Digest != d.Scenario().Digest || tl.Model != eye.Model || tl.Ending != "held" || !tl.Safe {
		t.Errorf("head of the timeline: %+v %q %q %v", tl.ScenarioID, tl.Model, tl.Ending, tl.Safe)
	}
	if tl.Opening.Start >= 0 || tl.Opening.End != 0 {
		t.Errorf("the opening runs from %g to %g", tl.Opening.Start, tl.Opening.End)
	}
	at := 0.0
	for i, s := range tl.Steps {
		if s.Index != i || s.Thinking.Start != at || s.Thinking.End != s.Doing.Start {
			t.Errorf("step %d: thinking %g to %g, doing from %g; expected to begin at %g", i, s.Thinking.Start, s.Thinking.End, s.Doing.Start, at)
		}
		if math.Abs(s.Thinking.End-s.Thinking.Start-s.Elapsed) > 0.021 { // a pedal pressed for 0 s takes no time; ticks round
			t.Errorf("step %d: thought %g s, the eye went on for %g", i, s.Elapsed, s.Thinking.End-s.Thinking.Start)
		}
		at = s.Doing.End
		for _, seg := range []Segment{s.Thinking, s.Doing} {
			checkSegment(t, i, seg)
		}
	}
	if last := tl.Steps[len(tl.Steps)-1]; last.Reason != "small gap" || last.Stance != Acceptable || last.Because == "" {
		t.Errorf("last step %+v", last)
	}
	if tl.Steps[1].Say != "machine: bottle 60 cm; say: words help" || tl.Steps[1].Choice != "" || tl.Steps[2].Choice != ChoiceTimeout || !tl.Steps[2].TimedOut {
		t.Errorf("steps 1 and 2: %q, %q", tl.Steps[1].Say, tl.Steps[2].Choice)
	}
}

func checkSegment(t *testing.T, step int, s Segment) {
	t.Helper()
	for i, info := range eye.MeasureTable() {
		if s.Low[i] > s.After[i] || s.High[i] < s.After[i] {
			t.Errorf("step %d: %s ends at %g outside %g to %g", step, info.Name, s.After[i], s.Low[i], s.High[i])
		}
	}
	if now, _ := s.After.Get("time_s"); math.Abs(now-s.End) > 1e-9 {
		t.Errorf("step %d: time_s %g at the end, clock %g", step, now, s.End)
	}
	for _, m := range s.Marks {
		if m.At < s.Start-1e-9 || m.At > s.End+1e-9 {
			t.Errorf("step %d: %s at %g outside %g to %g", step, m.Name, m.At, s.Start, s.End)
		}
	}
}

func TestRefusedDecisionsChangeNothing(t *testing.T) {
	cases := []struct {
		name string
		dec  Decision
		want Kind
	}{
		{"nothing", Decision{}, NotOneThing},
		{"two things", Decision{Choice: "hold", TimedOut: true}, NotOneThing},
		{"unknown choice", Decision{Choice: "dance"}, NoSuchChoice},
		{"choice of another stage", Decision{Choice: "ring"}, NoSuchChoice},
		{"choice not offered now", Decision{Choice: "third-try"}, NoSuchChoice},
		{"negative time", Decision{Choice: "hold", Elapsed: -1}, BadElapsed},
		{"not a number", Decision{Choice: "hold", Elapsed: math.NaN()}, BadElapsed},
		{"after the limit", Decision{Choice: "hold", Elapsed: 20.5}, TimeIsUp},
		{"unknown verb", Decision{Free: []eye.Action{{Verb: "dance"}}}, ActionRefused},
		{"impossible action behind a possible one", Decision{Free: []eye.Action{{Verb: "pedal", Num: map[string]float64{"position": 1}}, {Verb: "enter", Word: map[string]string{"instrument": "cutter"}}}, Elapsed: 2}, ActionRefused},
		{"too many actions", Decision{Free: slices.Repeat([]eye.Action{{Verb: "wait"}}, 9)}, ActionRefused},
	}
	d := start(t, Options{Variant: "usual", Seed: 5})
	before, scene := d.Timeline(), d.Scene()
	for _, c := range cases {
		_, err := d.Decide(c.dec)
		var r *Refusal
		if !errors.As(err, &r) || r.Kind != c.want {
			t.Errorf("%s: %v", c.name, err)
		}
		if !reflect.DeepEqual(before, d.Timeline()) || !reflect.DeepEqual(scene, d.Scene()) || d.Seconds() != 0 {
			t.Errorf("%s: the drill changed", c.name)
		}
	}
	var cause *eye.Refusal
	if _, err := d.Decide(cases[9].dec); !errors.As(err, &cause) || cause.Verb != "enter" {
		t.Errorf("the eye's own refusal is not told: %v", err)
	}
	if _, err := d.Decide(cases[7].dec); err == nil || !strings.Contains(err.Error(), "TimedOut") {
		t.Errorf("the refusal after the limit does not say what to send: %v", err)
	}
}

func TestClockOff(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5, ClockOff: true})
	if s := d.Scene(); s.LimitS != 0 {
		t.Errorf("a limit of %g s is shown", s.LimitS)
	}
	var r *Refusal
	if _, err := d.Decide(Decision{TimedOut: true}); !errors.As(err, &r) || r.Kind != NoLimit {
		t.Errorf("the clock ran out although it is off: %v", err)
	}
	step := decide(t, d, Decision{Choice: "hold", Elapsed: 90})
	if went := step.Thinking.End - step.Thinking.Start; math.Abs(went-20) > 0.021 || step.Elapsed != 90 {
		t.Errorf("thinking for 90 s cost %g s of eye time, recorded %g", went, step.Elapsed)
	}
}

func TestSafeStopFromEveryStage(t *testing.T) {
	ways := map[string][]Decision{
		"crack": nil,
		"drift": {{TimedOut: true}},
		"plan":  {{Choice: "fill", Elapsed: 1}},
	}
	for stage, way := range ways {
		d := start(t, Options{Variant: "usual", Seed: 2})
		decide(t, d, way...)
		if d.Stage() != stage {
			t.Fatalf("at %s, want %s", d.Stage(), stage)
		}
		offers := d.Scene().Choices
		if offers[len(offers)-1].ID != ChoiceSafeStop {
			t.Errorf("%s: the safe stop is not last: %v", stage, offers)
		}
		step := decide(t, d, Decision{Choice: ChoiceSafeStop, Elapsed: 1})
		m := step.Doing.After
		tip, _ := m.Get("tip_in_eye")
		sealed, _ := m.Get("wound_sealed")
		if tl := d.Timeline(); !d.Ended() || !tl.Safe || tl.Ending != script.SafeEnding || tip != 0 || sealed != 1 || step.Stance != "" {
			t.Errorf("%s: ended %v safe %v at %q, tip %g, sealed %g", stage, d.Ended(), tl.Safe, tl.Ending, tip, sealed)
		}
		if s := d.Scene(); len(s.Choices) != 0 || s.Ending == "" || !s.Safe {
			t.Errorf("%s: scene after the end %+v", stage, s)
		}
		var r *Refusal
		if _, err := d.Decide(Decision{Choice: "hold"}); !errors.As(err, &r) || r.Kind != Ended {
			t.Errorf("%s: a decision after the end: %v", stage, err)
		}
	}
}

func TestSceneHidesWhatIsHidden(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	s := d.Scene()
	for _, info := range eye.MeasureTable() {
		_, machine := s.Machine[info.Name]
		_, shown := s.Eye[info.Name]
		if info.Hidden && (machine || shown) {
			t.Errorf("%s is hidden, and shown", info.Name)
		}
		if !info.Hidden && machine == shown {
			t.Errorf("%s is shown twice or not at all", info.Name)
		}
	}
	if !strings.HasPrefix(s.Cue, d.Scenario().Brief) || strings.Contains(s.Cue, "{") || s.Orientation == "" || s.LimitS != 20 || !s.FreeHands {
		t.Errorf("scene %+v", s)
	}
	decide(t, d, Decision{Choice: "hold"})
	if s := d.Scene(); strings.Contains(s.Cue, d.Scenario().Brief) || !strings.Contains(s.Cue, "The chamber waits.") || s.Index != 1 {
		t.Errorf("second scene %+v", s)
	}
}

func TestOrderSaysNothing(t *testing.T) {
	places := map[int]int{}
	for seed := range uint64(60) {
		offers := start(t, Options{Variant: "usual", Seed: seed}).Scene().Choices
		places[slices.IndexFunc(offers, func(o Offer) bool { return o.ID == "hold" })]++
	}
	if len(places) != 3 || places[0] < 8 || places[1] < 8 || places[2] < 8 {
		t.Errorf("places of one choice over 60 seeds: %v", places)
	}
}

func TestUndo(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, d, Decision{Choice: "hold", Elapsed: 2})
	was := d.Scene()
	decide(t, d, Decision{Choice: "fill", Elapsed: 2})
	if err := d.Undo(); err != nil {
		t.Fatal(err)
	}
	now := d.Scene()
	if now.Index != 2 || !d.Timeline().Steps[1].Undone {
		t.Errorf("index %d, undone %v", now.Index, d.Timeline().Steps[1].Undone)
	}
	now.Index = was.Index
	if diff := cmp.Diff(was, now); diff != "" {
		t.Errorf("not as before:\n%s", diff)
	}
	if err := d.Undo(); err == nil {
		t.Error("a second decision was taken back")
	}
	decide(t, d, Decision{Choice: "fill", Elapsed: 1}, Decision{Choice: "ring", Reason: "small"})
	again, err := Replay(d.Scenario(), d.Timeline())
	if err != nil || !reflect.DeepEqual(again.Timeline(), d.Timeline()) {
		t.Errorf("a timeline with an undone decision replays otherwise: %v", err)
	}
}

func TestWhatTheEyeCannotDoIsPassedOver(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, d, Decision{Choice: "fill"}) // the tip is out now
	step := decide(t, d, Decision{Choice: "cut-without-cutter"})
	if step.Refused == "" || len(step.Doing.Marks) != 0 || step.Doing.End != step.Doing.Start || step.Next != "plan" {
		t.Errorf("nothing could be done: %+v", step)
	}
	if s := d.Scene(); !strings.HasPrefix(s.Cue, "Not done: cut") {
		t.Errorf("the trainee is not told: %q", s.Cue)
	}
	step = decide(t, d, Decision{Choice: "partly"})
	passed := slices.ContainsFunc(step.Doing.Marks, func(m eye.Mark) bool { return m.Name == script.PassedOver })
	stained := slices.ContainsFunc(step.Doing.Marks, func(m eye.Mark) bool { return m.Name == "stained" })
	if step.Refused != "" || !passed || !stained {
		t.Errorf("one part could be done: refused %q, marks %v", step.Refused, step.Doing.Marks)
	}
}

func TestCloneIsApart(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, d, Decision{Choice: "hold", Elapsed: 1})
	c := d.Clone()
	before := c.Timeline()
	decide(t, d, Decision{Choice: "turn", Elapsed: 1}, Decision{Choice: "fill"})
	if !reflect.DeepEqual(before, c.Timeline()) || c.Seconds() != before.Steps[0].Doing.End {
		t.Error("the copy changed with the original")
	}
	decide(t, c, Decision{Choice: "turn", Elapsed: 1})
	if !reflect.DeepEqual(c.Timeline().Steps[1], d.Timeline().Steps[1]) {
		t.Error("the copy answers otherwise than the original")
	}
}

func TestCompareTellsDifferences(t *testing.T) {
	d := start(t, Options{Variant: "usual", Seed: 5})
	decide(t, d, path()...)
	old, depth := d.Timeline(), 0
	depth, _ = eye.MeasureIndex("chamber_depth_mm")
	old.Steps[1].Doing.After[depth] += 0.01
	old.Steps[2].Next = "elsewhere"
	old.Ending = "left"
	got := Compare(old, d.Timeline(), 1e-3)
	if len(got) != 3 || got[0].What != "chamber_depth_mm" || got[0].Step != 1 || got[1].What != "next" || got[2].What != "ending" {
		t.Errorf("differences %v", got)
	}
	if got := Compare(old, d.Timeline(), 0.1); len(got) != 2 {
		t.Errorf("within a tolerance of 0.1: %v", got)
	}
	other := *old
	other.Digest = "0"
	if _, err := Replay(d.Scenario(), &other); err == nil {
		t.Error("a timeline of another version was replayed")
	}
}

func TestNewRefuses(t *testing.T) {
	var r *Refusal
	if _, err := New(scenario(t), Options{Variant: "none"}); !errors.As(err, &r) || r.Kind != NoSuchVariant {
		t.Errorf("unknown variant: %v", err)
	}
	if _, err := New(&script.Scenario{ID: "made"}, Options{}); err == nil {
		t.Error("a scenario that was never parsed was played")
	}
	seen := map[string]bool{}
	for seed := range uint64(30) {
		d := start(t, Options{Seed: seed})
		seen[d.Timeline().Variant] = true
	}
	if len(seen) != 2 {
		t.Errorf("seeds choose the variants %v", seen)
	}
}

func TestPlayer(t *testing.T) {
	sc := scenario(t)
	data, err := os.ReadFile("testdata/policies.yaml")
	if err != nil {
		t.Fatal(err)
	}
	policies, err := ParsePolicies("policies.yaml", data, sc)
	if err != nil {
		t.Fatal(err)
	}
	chosen := func(p Policy, skill float64, seed uint64) string {
		d := start(t, Options{Variant: "usual", Seed: seed})
		if err := NewPlayer(p, sc, skill, seed).Play(d); err != nil {
			t.Fatal(err)
		}
		var ids []string
		for _, s := range d.Timeline().Steps {
			ids = append(ids, s.Choice)
		}
		return strings.Join(ids, " ")
	}
	if got := chosen(policies[0], 1, 5); got != "hold fill ring" {
		t.Errorf("recommended: %s", got)
	}
	if got := chosen(policies[1], 1, 5); got != "turn hold fill ring" {
		t.Errorf("turns first: %s", got)
	}
	unlike := 0
	for seed := range uint64(20) {
		first, again := chosen(policies[0], 0.3, seed), chosen(policies[0], 0.3, seed)
		if first != "hold fill ring" {
			unlike++
		}
		if first != again {
			t.Error("one seed, two ways")
		}
	}
	if unlike < 10 {
		t.Errorf("a skill of 0.3 left the way in %d of 20 drills only", unlike)
	}
	for _, bad := range []string{"policies:\n  a: {prefer: [dance], thinks: {from: 1 s, to: 2 s}}\n", "policies:\n  a: {as: b}\n", "policies:\n  a: {prefer: [hold]}\n"} {
		if _, err := ParsePolicies("p.yaml", []byte(bad), sc); err == nil {
			t.Errorf("taken: %s", bad)
		}
	}
}

func BenchmarkDrill(b *testing.B) {
	sc := scenario(b)
	for b.Loop() {
		d, err := New(sc, Options{Variant: "usual", Seed: 5})
		if err != nil {
			b.Fatal(err)
		}
		decide(b, d, path()...)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "drills/s")
}

// Circumstances are filled into a choice's words wherever they are read: offered and on record.
func TestCircumstancesAreFilledIntoChoices(t *testing.T) {
	data, err := os.ReadFile("testdata/scenario.yaml")
	if err != nil {
		t.Fatal(err)
	}
	old := "Hold still"
	if !strings.Contains(string(data), old) {
		t.Fatal("the sample has no such choice")
	}
	sc, err := script.Parse("s.yaml", []byte(strings.Replace(string(data), old, "Hold at {weak}", 1)))
	if err != nil {
		t.Fatal(err)
	}
	d, err := New(sc, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	want := script.Fill("Hold at {weak}", "", d.Circumstances())
	if strings.Contains(want, "{") || !slices.ContainsFunc(d.Scene().Choices, func(o Offer) bool { return strings.HasPrefix(o.Say, want) }) {
		t.Errorf("offered %+v, want %q", d.Scene().Choices, want)
	}
	if step := decide(t, d, Decision{Choice: "hold", Elapsed: 1}); !strings.HasPrefix(step.Say, want) {
		t.Errorf("on record as %q", step.Say)
	}
}
