package assessor

import (
	"math"
	"os"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"zonule/assessor/rubric"
	"zonule/assessor/sketch"
	"zonule/scenarios/play"
)

var names = rubric.Names{
	Scenario: "weak-sector",
	Choices:  []string{"hold", "rotate", "fill", "call"},
	Endings:  []string{"bag-saved", "support-lost"},
}

var parsed = sync.OnceValues(func() (*rubric.Rubric, error) {
	data, err := os.ReadFile("testdata/weak-sector.yaml")
	if err != nil {
		return nil, err
	}
	return rubric.Parse("weak-sector.yaml", data, names)
})

func standing(t testing.TB) *rubric.Rubric {
	t.Helper()
	r, err := parsed()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func timeline(t testing.TB, text string) play.Timeline {
	t.Helper()
	tl, err := sketch.Timeline("scenario weak-sector\n" + text)
	if err != nil {
		t.Fatal(err)
	}
	return tl
}

// Whole drills, as data: what was done, and what the judge must say.
var drills = []struct {
	name   string
	drill  string
	levels string // C1 C2 C6 C7 C9, 0 = not shown
	mean   float64
	errors string
	says   []string // must stand in the reasons
}{
	{
		name: "early, said, filled before leaving",
		drill: `open aspirating=1 irrigation_on=1 chamber_depth_mm=3.0 dialysis_hours=2
0-4 think: folds@2 aspiration-off@4 chamber_depth_mm=2.8..3.0
4-6 chose hold preferred "folds": said-zonules@5
6-9 chose fill preferred: viscoelastic@8
9-12 chose call acceptable "beyond my list":
12-15 free: withdrew@15 chamber_depth_mm=2.6..3.0
ending bag-saved safe`,
		levels: "5 5 5 5 5", mean: 5,
		says: []string{
			"Level 5 (sure): folds at second 2.0 (while thinking before decision 1)",
			"from folds to aspiration off: 2.0 s",
			"Level 5 (sure): nothing contrary was recorded: vitreous came did not come up to second 15.0.",
			`reason for the choice "call": beyond my list`,
		},
	}, {
		name: "late foot, more zonules lost, no call",
		drill: `open aspirating=1 chamber_depth_mm=3.0 dialysis_hours=2
0-4 think: folds@2 chamber_depth_mm=2.0..3.0
4-9 chose hold: aspiration-off@8.5 dialysis_hours=2.8
9-12 free: withdrew@11 chamber_depth_mm=1.3..2.0`,
		levels: "3 3 5 4 1", mean: (2*3 + 3 + 5 + 4 + .5) / 5.5,
		says: []string{
			"Level 3 (safe): folds at second 2.0 (while thinking before decision 1); aspiration off at second 8.5 (decision 1); from folds to aspiration off: 6.5 s.",
			`Level 1 (unsafe): no higher level was reached: the choice "call" did not come up to second 12.0.`,
			"at the start clock hours of zonules missing was 2 h",
		},
	}, {
		name: "no folds: nothing to recognise",
		drill: `open aspirating=1 chamber_depth_mm=3.0 dialysis_hours=0
0-4 chose fill: viscoelastic@3`,
		levels: "0 5 5 0 1", mean: (5 + 5 + .5) / 2.5,
		says: []string{"Not shown: folds did not come up to second 4.0."},
	}, {
		name: "turned on the folds and pulled the gel",
		drill: `open aspirating=1 chamber_depth_mm=3.0 dialysis_hours=2
0-3 think: folds@1 aspiration-off@2
3-6 chose rotate harmful: rotated@4 vitreous-came@5
6-9 free: pulled-vitreous@7
9-12 free: cutting@10`,
		levels: "4 2 1 2 1", mean: (2*4 + 2 + 1 + 2 + .5) / 5.5,
		errors: "pulled-gel@7 turned-on-folds@4",
		says: []string{
			`Brought down to level 1 by the critical error "pulled-gel" at second 7.0: Vitreous was pulled without cutting, which loads the retina.`,
			`Brought down to level 2 by the critical error "turned-on-folds" at second 4.0`,
		},
	}, {
		name: "the turn was taken back",
		drill: `open aspirating=1 chamber_depth_mm=3.0 dialysis_hours=2
0-3 think: folds@1 aspiration-off@2
3-6 chose rotate harmful undone: rotated@4 dialysis_hours=5
0-4 think: folds@1 aspiration-off@2
4-6 chose fill: viscoelastic@5`,
		levels: "4 5 5 5 1", mean: (2*4 + 5 + 5 + 5 + .5) / 5.5,
	}, {
		name: "vitreous came and was never cut",
		drill: `open chamber_depth_mm=3.0 dialysis_hours=2
0-3 chose hold: vitreous-came@1`,
		levels: "0 3 1 0 1", mean: (3 + 1 + .5) / 2.5,
		says: []string{"cutting did not come"},
	},
}

func TestAssess(t *testing.T) {
	r := standing(t)
	for _, c := range drills {
		t.Run(c.name, func(t *testing.T) {
			a, err := Assess(timeline(t, c.drill), r)
			if err != nil {
				t.Fatal(err)
			}
			var levels, errors, reasons []string
			for _, k := range a.Criteria {
				levels = append(levels, string(rune('0'+k.Level)))
				reasons = append(reasons, k.ID+": "+k.Reason)
			}
			for _, e := range a.Critical {
				errors = append(errors, e.ID+"@"+strings.TrimSuffix(strings.TrimSuffix(format(e.Second), "0"), "."))
			}
			if got := strings.Join(levels, " "); got != c.levels {
				t.Errorf("levels %s, want %s\n%s", got, c.levels, strings.Join(reasons, "\n"))
			}
			if got := strings.Join(errors, " "); got != c.errors {
				t.Errorf("critical errors %q, want %q", got, c.errors)
			}
			if math.Abs(a.Mean-c.mean) > 1e-12 {
				t.Errorf("mean %g, want %g", a.Mean, c.mean)
			}
			for _, want := range c.says {
				if !strings.Contains(strings.Join(reasons, "\n"), want) {
					t.Errorf("no reason says %q in\n%s", want, strings.Join(reasons, "\n"))
				}
			}
			wellFormed(t, a)
		})
	}
}

func format(second float64) string {
	whole, tenth := int(second), int(math.Round(second*10))%10
	return string(rune('0'+whole%10)) + "." + string(rune('0'+tenth))
}

// wellFormed holds for every assessment whatever the drill.
func wellFormed(t *testing.T, a Assessment) {
	t.Helper()
	for _, c := range a.Criteria {
		switch {
		case c.Level < 0 || c.Level > 5 || c.Level > c.Uncapped:
			t.Errorf("%s: level %d, before caps %d", c.ID, c.Level, c.Uncapped)
		case c.Level == 0 && (c.Anchor != "" || c.LevelName != "not shown" || !strings.HasPrefix(c.Reason, "Not shown: ")):
			t.Errorf("%s is not shown, but %+v", c.ID, c)
		case c.Level > 0 && c.Anchor == "":
			t.Errorf("%s: level %d without an anchor", c.ID, c.Level)
		case c.Level > 0 && len(c.Evidence) == 0 && !strings.Contains(c.Reason, nothingContrary):
			t.Errorf("%s: level %d without evidence: %s", c.ID, c.Level, c.Reason)
		case c.Level < c.Uncapped && len(c.CappedBy) == 0:
			t.Errorf("%s: lowered from %d to %d by nothing", c.ID, c.Uncapped, c.Level)
		case c.Level > 1 && c.Uncapped > 1 && c.Rule == "":
			t.Errorf("%s: level %d by no rule", c.ID, c.Level)
		}
	}
	for _, e := range a.Critical {
		if e.Why == "" || len(e.Evidence) == 0 {
			t.Errorf("%s: a critical error without reason or evidence: %+v", e.ID, e)
		}
	}
	if math.IsNaN(a.Mean) || a.Shown == 0 && a.Mean != 0 {
		t.Errorf("mean %g over %d shown", a.Mean, a.Shown)
	}
	if s := a.Summary(); strings.Contains(strings.ToLower(s), "pass") || strings.Contains(strings.ToLower(s), "fail") {
		t.Errorf("the summary passes or fails someone: %s", s)
	}
}

func TestAssessCarriesWhereItComesFrom(t *testing.T) {
	tl := timeline(t, drills[0].drill)
	tl.Digest, tl.Variant, tl.Seed, tl.ClockOff = "ab12", "harder", 7, true
	r := standing(t)
	a, err := Assess(tl, r)
	if err != nil {
		t.Fatal(err)
	}
	a.Criteria, a.Critical, a.Mean, a.Shown = nil, nil, 0, 0
	want := Assessment{
		Rubric: "weak-sector-test", RubricVersion: 2, RubricDigest: r.Digest, Standard: "zonule-ten/1", ApprovedBy: "none yet",
		Scenario: "weak-sector", Digest: "ab12", Model: "eye/1", Variant: "harder", Seed: 7, ClockOff: true, Ending: "bag-saved", Safe: true,
	}
	if d := cmp.Diff(want, a); d != "" {
		t.Error(d)
	}
}

func TestSharpenedAnchorAndTriedRules(t *testing.T) {
	a, err := Assess(timeline(t, drills[1].drill), standing(t))
	if err != nil {
		t.Fatal(err)
	}
	c := a.Criteria[0]
	if len(c.Tried) != 3 || c.Tried[0].Outcome != Failed || c.Tried[2].Outcome != Held || c.Rule != c.Tried[2].Rule {
		t.Errorf("tried %+v", c.Tried)
	}
	b, err := Assess(timeline(t, drills[0].drill), standing(t))
	if err != nil {
		t.Fatal(err)
	}
	if got := b.Criteria[0].Anchor; !strings.HasPrefix(got, "Foot up within three") {
		t.Errorf("anchor %q", got)
	}
}

func TestSummary(t *testing.T) {
	r := standing(t)
	for drill, want := range map[int]string{
		0: "Mean level 5.0 over 5 of 5 criteria. No critical error.",
		3: "Mean level 2.5 over 5 of 5 criteria. 2 critical errors, which no mean takes away: pulled gel (second 7.0): Vitreous was pulled without cutting, which loads the retina. turned on folds (second 4.0): The nucleus was turned on fibres that were already giving way.",
	} {
		a, err := Assess(timeline(t, drills[drill].drill), r)
		if err != nil {
			t.Fatal(err)
		}
		if got := a.Summary(); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	}
}

func TestAssessRefuses(t *testing.T) {
	r := standing(t)
	good := drills[0].drill
	for name, c := range map[string]struct {
		spoil func(*play.Timeline)
		want  string
	}{
		"another scenario": {func(t *play.Timeline) { t.ScenarioID = "other" }, `judges scenario "weak-sector", not "other"`},
		"backwards":        {func(t *play.Timeline) { t.Steps[1].Doing.End = 1 }, "decision 2 runs from second 6 to 1"},
		"no number":        {func(t *play.Timeline) { t.Steps[0].Thinking.Start = math.NaN() }, "decision 1 runs from second NaN"},
		"a measure":        {func(t *play.Timeline) { t.Steps[2].Doing.Low[2] = math.NaN() }, "decision 3 has a measure, chamber_depth_mm, that is no number"},
		"a mark":           {func(t *play.Timeline) { t.Steps[0].Thinking.Marks[0].At = math.Inf(1) }, "has folds at second +Inf"},
	} {
		tl := timeline(t, good)
		c.spoil(&tl)
		if a, err := Assess(tl, r); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v", name, a, err)
		}
	}
	if _, err := Assess(timeline(t, good), nil); err == nil {
		t.Error("judged by no rubric")
	}
}
