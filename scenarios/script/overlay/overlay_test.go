package overlay

import (
	"os"
	"strings"
	"testing"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

const good = `zonule: overlay/1
id: north-wet-lab
version: 2
approved_by: "programme director, 2026-10-01"
reason: "the benches' machines run with lower bottles"
scenarios:
  sample-case:
    machine: {bottle: 80 cm, pump: vacuum}
    settings:
      fill-and-leave: {ovd: {up_to: 150 uL}}
      go-on: {pedal: {for: 3 s}}
    limits: {crack: 25 s}
    conditions:
      - {stage: crack, go: drift, was: "happened('zonules-broke') && times('turn') > 1", now: "happened('zonules-broke')"}
      - {stage: anywhere, go: support-lost, was: "eye.dialysis_hours >= 9", now: "eye.dialysis_hours >= 8"}
      - {ending: held, was: "eye.ring_in || eye.hooks > 0", now: "eye.hooks > 1"}
    never: {turn: "the lens is not turned before the bag is held"}
`

func sample(t testing.TB) *script.Scenario {
	t.Helper()
	data, err := os.ReadFile("../testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	sc, err := script.Parse("good.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func TestApply(t *testing.T) {
	sc := sample(t)
	o, err := Parse("o.yaml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	changed, err := Apply(sc, o)
	if err != nil {
		t.Fatal(err)
	}
	if changed.Overlay != (script.Applied{ID: "north-wet-lab", Version: 2, Digest: script.Digest([]byte(good)), Base: sc.Digest}) {
		t.Errorf("overlay %+v", changed.Overlay)
	}
	if len(changed.Digest) != 64 || changed.Digest == sc.Digest || changed.Digest == o.Digest {
		t.Errorf("digest %s", changed.Digest)
	}
	before, after := string(script.Format(sc)), string(script.Format(changed))
	for _, want := range []string{
		"machine: {bottle: 80 cm, flow: 31 mL/min, vacuum: 330 mmHg, power: 45 %, pump: vacuum}",
		"- {ovd: dispersive, up_to: 150 uL}", "- {pedal: 3, for: 3 s, until: fragment-gone}", "limit: 25 s",
		`{when: "happened('zonules-broke')", go: drift}`, `{when: "eye.dialysis_hours >= 8", go: support-lost}`, `when: "eye.hooks > 1"`,
		"never done here: the lens is not turned before the bag is held",
	} {
		if strings.Contains(before, want) || !strings.Contains(after, want) {
			t.Errorf("%q was there before, or is not there now", want)
		}
	}
	if _, ch, _ := changed.Choice("turn"); ch.Stance != "critical" {
		t.Errorf("turn is %s", ch.Stance)
	}
	if again := string(script.Format(sample(t))); again != before {
		t.Error("the published scenario was changed")
	}
	if twice, err := Apply(changed, o); err == nil {
		t.Errorf("an overlay was applied twice: %+v", twice.Overlay)
	}
}

// A drill says which overlay applied, replays on the changed scenario only, and is no drill of the published one.
func TestADrillSaysWhichOverlayApplied(t *testing.T) {
	sc := sample(t)
	o, err := Parse("o.yaml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	changed, err := Apply(sc, o)
	if err != nil {
		t.Fatal(err)
	}
	d, err := play.New(changed, play.Options{Variant: "easier", Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	if d.Scene().LimitS != 25 || d.Scene().Machine["bottle_cm"] != 80 {
		t.Errorf("limit %g s, bottle %g cm", d.Scene().LimitS, d.Scene().Machine["bottle_cm"])
	}
	if _, err := d.Decide(play.Decision{Choice: "hold", Elapsed: 2}); err != nil {
		t.Fatal(err)
	}
	timeline := d.Timeline()
	if timeline.Overlay != changed.Overlay || timeline.Digest != changed.Digest {
		t.Errorf("the timeline names %+v and %s", timeline.Overlay, timeline.Digest)
	}
	if _, err := play.Replay(changed, timeline); err != nil {
		t.Error(err)
	}
	if _, err := play.Replay(sc, timeline); err == nil {
		t.Error("a drill of the changed scenario was replayed on the published one")
	}
	plain, err := play.New(sc, play.Options{Seed: 3})
	if err != nil || plain.Timeline().Overlay != (script.Applied{}) {
		t.Errorf("%v, overlay %+v without one", err, plain.Timeline().Overlay)
	}
}

func TestOtherScenariosStay(t *testing.T) {
	o, err := Parse("o.yaml", []byte(strings.Replace(good, "sample-case:", "other-case:", 1)))
	if err != nil {
		t.Fatal(err)
	}
	sc := sample(t)
	if same, err := Apply(sc, o); err != nil || same != sc {
		t.Errorf("%v, %v", same, err)
	}
	if got := o.Scenarios(); len(got) != 1 || got[0] != "other-case" {
		t.Errorf("scenarios %v", got)
	}
}

// Whatever is wrong is said at its place in the overlay, when it is read or when it meets the scenario.
func TestWrongOverlays(t *testing.T) {
	cases := []struct{ name, old, now, want string }{
		{"another text", "overlay/1", "scenario/1", "o.yaml:1:9: this is no overlay"},
		{"no id", "id: north-wet-lab", "id: North", "o.yaml:2:5: \"North\" is no name"},
		{"no version", "version: 2\n", "", "the version is missing"},
		{"not approved", `"programme director, 2026-10-01"`, "none yet", "o.yaml:4:14: nobody has approved"},
		{"no reason", `reason: "the benches' machines run with lower bottles"`, `reason: ""`, "o.yaml:5:9: the reason is missing"},
		{"unknown key", "never:", "nevr:", "o.yaml:17:5:"},
		{"unknown argument", "bottle: 80 cm", "bottel: 80 cm", "o.yaml:8:5: machine has no argument"},
		{"wrong unit", "bottle: 80 cm", "bottle: 80 mL/min", "o.yaml:8:5:"},
		{"out of range", "bottle: 80 cm", "bottle: 800 cm", "o.yaml:8:5: bottle"},
		{"no such choice", "go-on:", "go-off:", "o.yaml:11:7: the scenario has no choice and no move"},
		{"no such action in it", "go-on: {pedal:", "go-on: {cut:", "o.yaml:11:15: go-on does no cut"},
		{"no clock", "limits: {crack:", "limits: {drift:", "o.yaml:12:21: the scenario has no stage \"drift\" with a clock"},
		{"a limit out of range", "crack: 25 s", "crack: 2500 s", "o.yaml:7:3: with these changes the scenario is wrong: a limit"},
		{"no limit", "crack: 25 s", "crack: soon", "o.yaml:12:21:"},
		{"the text has moved on", "was: \"eye.dialysis_hours >= 9\"", "was: \"eye.dialysis_hours >= 7\"", "o.yaml:15:50: nothing in the scenario has the condition"},
		{"no such ending", "ending: held", "ending: hold", "o.yaml:16:29: nothing in the scenario"},
		{"not whole", "ending: held, ", "", "o.yaml:16:10: a changed condition is not whole"},
		{"a condition that is none", `now: "eye.hooks > 1"`, `now: "eye.hooks"`, "o.yaml:7:3: with these changes the scenario is wrong: the rule gives no true or false"},
		{"never what", "never: {turn:", "never: {tern:", "o.yaml:17:19: the scenario offers no choice"},
		{"never why", `"the lens is not turned before the bag is held"`, `" "`, "what is never done has no reason"},
	}
	for _, c := range cases {
		if !strings.Contains(good, c.old) {
			t.Fatalf("%s: nothing to change", c.name)
		}
		o, err := Parse("o.yaml", []byte(strings.Replace(good, c.old, c.now, 1)))
		if err == nil {
			_, err = Apply(sample(t), o)
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}
