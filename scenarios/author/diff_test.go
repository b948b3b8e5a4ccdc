package author

import (
	"strings"
	"testing"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

func changed(t *testing.T, edits ...string) (old, now *script.Scenario) {
	t.Helper()
	text := string(script.Format(started(t)))
	later := text
	for i := 0; i < len(edits); i += 2 {
		if !strings.Contains(later, edits[i]) {
			t.Fatalf("nothing to edit: %q", edits[i])
		}
		later = strings.Replace(later, edits[i], edits[i+1], 1)
	}
	return parsed(t, text), parsed(t, later)
}

func TestDiff(t *testing.T) {
	if old, now := changed(t); len(Diff(old, now)) > 0 {
		t.Errorf("nothing changed, and yet: %v", Diff(old, now))
	}
	old, now := changed(t,
		`complication: "cortex over a loose sector"`, `complication: "cortex over a weak side"`,
		`limit: 15 s`, `limit: 12 s`,
		`bottle: 65 cm`, `bottle: 60 cm`,
		"      to-the-middle:\n", "      leave-it:\n        say: \"Leave it\"\n        stance: suboptimal\n        because: \"b\"\n      to-the-middle:\n",
		"      straight-back-in:\n", "      back-in:\n",
		`{when: "eye.tip_in_eye", go: order}`, `{when: "eye.phaco_in", go: order}`,
		`span: {from: 1.7 h, to: 2.3 h}`, `span: {from: 1.7 h, to: 2.5 h}`,
	)
	var got []string
	for _, c := range Diff(old, now) {
		got = append(got, c.String())
	}
	want := []string{
		"complication: was cortex over a loose sector, is cortex over a weak side",
		"variants.usual.values.span: was {from: 1.7 h, to: 2.3 h}, is {from: 1.7 h, to: 2.5 h}",
		"stages.tug.clock.limit: was 15 s, is 12 s",
		"stages.tug-again.next: was when eye.tip_in_eye go order; go outside, is when eye.phaco_in go order; go outside",
		"stages.outside.choices.back-in: new: Straight back in, irrigation first",
		"stages.order.choices.lower-then-far-side.does: was",
		"stages.last.choices.leave-it: new: Leave it",
		"stages.outside.choices.straight-back-in: gone: Straight back in, irrigation first",
	}
	if len(got) != len(want) {
		t.Fatalf("%d changes, want %d:\n%s", len(got), len(want), strings.Join(got, "\n"))
	}
	for i := range want {
		if !strings.HasPrefix(got[i], want[i]) {
			t.Errorf("change %d: %q, want %q", i, got[i], want[i])
		}
	}
}

func TestReruns(t *testing.T) {
	old, now := changed(t, `bottle: 65 cm`, `bottle: 60 cm`, "      straight-back-in:\n", "      back-in:\n")
	decide := func(ids ...string) (out []play.Decision) {
		for _, id := range ids {
			out = append(out, play.Decision{Choice: id, Elapsed: 2, Reason: "r"})
		}
		return out
	}
	all := Reruns(old, now, byStance(nil), byStance(func(_ []string, m *Marks) { m.Mean -= 0.25 }), []Recording{
		{"far side as set", play.Options{Variant: "usual", Seed: 1}, decide("ease-off", "far-side-as-set", "along-the-rim", "fill-then-out")},
		{"settings down", play.Options{Variant: "usual", Seed: 1}, decide("ease-off", "lower-then-far-side", "along-the-rim", "fill-then-out")},
		{"back in", play.Options{Variant: "usual", Seed: 1}, decide("pull-through", "out-bare", "straight-back-in", "far-side-as-set", "along-the-rim", "fill-then-out")},
	})
	for i, want := range []string{"mean level was 5.00 with 0 critical errors, is 4.75 with 0", "more places", `is decision 3 at outside: the choice "straight-back-in" is not offered now`} {
		if s := strings.Join(all[i].Differ, "\n"); !strings.Contains(s, want) {
			t.Errorf("%s: %q, want %q in it", all[i].Name, s, want)
		}
	}
	if len(all[0].Differ) != 1 || all[0].Was.Ending != "held" || !all[0].Now.Safe {
		t.Errorf("far side as set: %+v", all[0])
	}
	for _, r := range Reruns(old, old, nil, nil, []Recording{{"same", play.Options{Seed: 2}, decide("ease-off")}}) {
		if len(r.Differ) > 0 {
			t.Errorf("nothing changed, and yet: %v", r.Differ)
		}
	}
}
