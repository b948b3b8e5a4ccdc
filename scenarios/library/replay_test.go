package library

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// recordedSeed is the seed of the recorded drills.
const recordedSeed = 11

// kept are the measures a replay must keep.
var kept = []string{
	"time_s", "chamber_depth_mm", "lowest_depth_mm", "highest_iop_mmhg", "new_dialysis_hours", "dialysis_hours", "peak_load_ratio",
	"vitreous_left_ul", "vitreous_lost_ul", "traction_hazard", "lens_left_ul", "cde", "endothelial_loss_pct", "wobble", "offset_mm", "harm",
}

// TestReplaysKeepTheirResult plays every recorded drill again. A changed result means that the scenario or the
// model eye answers otherwise: look at it, and record anew with -update when it is meant.
func TestReplaysKeepTheirResult(t *testing.T) {
	items, err := All()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		for _, it := range items {
			record(t, it)
		}
		t.Skip("recorded anew; run again without -update")
	}
	for _, it := range items {
		if len(it.Replays) < len(it.Policies)+2 {
			t.Errorf("%s has %d replays for %d policies", it.ID, len(it.Replays), len(it.Policies))
		}
		for _, r := range it.Replays {
			t.Run(it.ID+"/"+r.Name, func(t *testing.T) { checkReplay(t, it, r) })
		}
	}
}

func checkReplay(t *testing.T, it Item, r Replay) {
	d, err := r.Play(it.Scenario)
	if err != nil {
		t.Fatal(err)
	}
	tl := d.Timeline()
	if tl.Ending != r.Expect.Ending || tl.Safe != r.Expect.Safe {
		t.Errorf("ends in %q (safe %v), recorded %q (%v)", tl.Ending, tl.Safe, r.Expect.Ending, r.Expect.Safe)
	}
	if len(r.Expect.Measures) == 0 || r.Expect.Tolerance <= 0 {
		t.Error("the replay keeps no measures")
	}
	last := tl.Steps[len(tl.Steps)-1].Doing.After
	for name, want := range r.Expect.Measures {
		got, _ := last.Get(name)
		if math.Abs(got-want) > r.Expect.Tolerance*max(1, math.Abs(want)) {
			t.Errorf("%s is %g, recorded %g", name, got, want)
		}
	}
	again, err := play.Replay(it.Scenario, tl)
	if err != nil {
		t.Fatal(err)
	}
	if diff := play.Compare(tl, again.Timeline(), 0); len(diff) > 0 {
		t.Errorf("replaying the timeline differs: %v", diff[0])
	}
}

// record writes a replay of each policy, of a hesitant trainee whose clock runs out, and of free hands.
func record(t *testing.T, it Item) {
	opts := play.Options{Variant: "usual", Seed: recordedSeed}
	for _, p := range it.Policies {
		d := playOne(t, it, "usual", p, recordedSeed)
		write(t, it, p.Name, p.About, opts, d)
	}
	best, _ := it.Policy("recommended")
	hesitant, err := play.New(it.Scenario, opts)
	if err != nil {
		t.Fatal(err)
	}
	mustDecide(t, hesitant, play.Decision{TimedOut: true})
	if err := play.NewPlayer(best, it.Scenario, 1, recordedSeed).Play(hesitant); err != nil {
		t.Fatal(err)
	}
	write(t, it, "hesitant", "lets the first clock run out, then plays the author's way", opts, hesitant)
	hands, err := play.New(it.Scenario, opts)
	if err != nil {
		t.Fatal(err)
	}
	mustDecide(t, hands, play.Decision{Elapsed: 3, Free: []eye.Action{
		{Verb: "pedal", Num: map[string]float64{"position": 1, "for": 2}}, {Verb: "say", Word: map[string]string{"words": "stop"}}}})
	mustDecide(t, hands, play.Decision{Choice: script.SafeStop, Elapsed: 6, Reason: "beyond what I have been shown"})
	write(t, it, "free-hands-then-stop", "irrigation by free hands, then the safe stop", opts, hands)
}

func mustDecide(t *testing.T, d *play.Drill, dec play.Decision) {
	t.Helper()
	if _, err := d.Decide(dec); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, it Item, name, about string, opts play.Options, d *play.Drill) {
	tl := d.Timeline()
	var b strings.Builder
	fmt.Fprintf(&b, "# Recorded with -update; invented.\nzonule: %s\nabout: %q\nvariant: %s\nseed: %d\ndecisions:\n", replayKind, about, opts.Variant, opts.Seed)
	for _, s := range tl.Steps {
		line := fmt.Sprintf("choice: %s, elapsed: %s", s.Choice, script.Amount{Number: s.Elapsed, Unit: "s"})
		if s.TimedOut {
			line = "choice: " + s.Choice
		}
		if len(s.Free) > 0 {
			var parts []string
			for _, a := range s.Free {
				parts = append(parts, freeText(a))
			}
			line = fmt.Sprintf("free: [%s], elapsed: %s", strings.Join(parts, ", "), script.Amount{Number: s.Elapsed, Unit: "s"})
		}
		if s.Reason != "" {
			line += fmt.Sprintf(", reason: %q", s.Reason)
		}
		fmt.Fprintf(&b, "  - {%s}\n", line)
	}
	fmt.Fprintf(&b, "expect:\n  ending: %s\n  safe: %v\n  tolerance: 0.001\n  measures:\n", tl.Ending, tl.Safe)
	for _, m := range kept {
		x, _ := tl.Steps[len(tl.Steps)-1].Doing.After.Get(m)
		fmt.Fprintf(&b, "    %s: %.6g\n", m, x)
	}
	if err := os.WriteFile(filepath.Join(it.ID, "replays", name+".yaml"), []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

func freeText(a eye.Action) string {
	v, _ := eye.LookupVerb(a.Verb)
	var parts []string
	for _, arg := range v.Args {
		if w, ok := a.Word[arg.Name]; ok {
			parts = append(parts, arg.Name+": "+w)
		}
		if x, ok := a.Num[arg.Name]; ok {
			parts = append(parts, arg.Name+": "+script.Amount{Number: x, Unit: arg.Unit}.String())
		}
	}
	return "{" + a.Verb + ": {" + strings.Join(parts, ", ") + "}}"
}

func BenchmarkReplay(b *testing.B) {
	it, err := Find("morning-list-two")
	if err != nil {
		b.Fatal(err)
	}
	i := slices.IndexFunc(it.Replays, func(r Replay) bool { return r.Name == "recommended" })
	seconds := 0.0
	for b.Loop() {
		d, err := it.Replays[i].Play(it.Scenario)
		if err != nil {
			b.Fatal(err)
		}
		seconds = d.Seconds()
	}
	per := b.Elapsed().Seconds() / float64(b.N)
	b.ReportMetric(seconds, "eye-s")
	b.ReportMetric(1/per, "drills/s")
	b.ReportMetric(per*1000*360/seconds, "ms/360-eye-s")
}
