package rubric_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"zonule/assessor/rubric"
	"zonule/assessor/sketch"
)

// One drill with something of everything; each case below asks one thing of it.
const drillText = `
scenario weak-sector
open -folds@-3 chopped@-2 lens-tilts@-1 aspirating=1 irrigation_on=1 chamber_depth_mm=3.0 dialysis_hours=2
0-3 think: folds@1.5 aspiration-off@2.5 chamber_depth_mm=2.2..3.1>2.8
3-4 chose hold preferred "the folds point at one o'clock": said-zonules@3.2 -folds@3.5
4-9 think: chamber_depth_mm=2.6..2.9>2.7
9-12 chose fill preferred: viscoelastic@10 chamber_depth_mm=2.7..3.4>3.4 dialysis_hours=2..2.5>2.5
12-14 think: folds@13
14-15 chose rotate harmful undone: rotated@14.5 chamber_depth_mm=1.9..3.4>2.0
12-16 think: folds@13 -folds@15
16-18 chose call acceptable: said-help@16.5
18-19 chose plan suboptimal refused:
19-24 think:
24-30 free: withdrew@28 irrigation-off@28 lens-tilts@29 chamber_depth_mm=2.1..2.7>2.5
30-30 chose clock-ran-out timed-out:
ending bag-saved safe
`

var names = rubric.Names{
	Choices: []string{"hold", "rotate", "fill", "call", "plan"},
	Endings: []string{"bag-saved", "support-lost"},
}

// compile makes a rubric whose only level rule is src.
func compile(t testing.TB, src string) (*rubric.Rubric, error) {
	t.Helper()
	text := fmt.Sprintf("zonule: rubric/1\nid: one-rule\nversion: 1\nscenario: weak-sector\nstandard: zonule-ten/1\nlicence: Apache-2.0\nattribution: tests\napproved_by: none yet\ncriteria:\n  C1:\n    levels:\n      5: |\n        %s\n", src)
	return rubric.Parse("one.yaml", []byte(text), names)
}

func record(t testing.TB, text string) *rubric.Record {
	t.Helper()
	tl, err := sketch.Timeline(text)
	if err != nil {
		t.Fatal(err)
	}
	return rubric.NewRecord(tl)
}

const (
	yes     = "yes"
	no      = "no"
	missing = "missing"
)

func TestFunctions(t *testing.T) {
	r := record(t, drillText)
	for _, c := range []struct{ rule, want string }{
		// Marks. What the opening did is not the trainee's; what was on when it ended is.
		{"happened('folds')", yes},
		{"happened('capsule-rent')", no},
		{"happened('chopped')", no},
		{"first('lens-tilts') == 0", yes},
		{"first('folds') == 1.5", yes},
		{"last('folds') == 13", yes},
		{"first('capsule-rent') < 100", missing},
		{"last('capsule-rent') < 100", missing},
		{"count('folds') == 2", yes},
		{"count('capsule-rent') == 0", yes},
		{"count('chose:hold') == 1", yes},
		{"gone('folds')", yes},
		{"gone('lens-tilts')", no},
		{"gone('bounce')", missing},
		// What was taken back does not count.
		{"happened('rotated')", no},
		{"chose('rotate')", no},
		{"stance_count('harmful') == 0", yes},
		// Order and time.
		{"before('viscoelastic', 'withdrew')", yes},
		{"before('withdrew', 'viscoelastic')", no},
		{"before('viscoelastic', 'capsule-rent')", yes},
		{"before('capsule-rent', 'viscoelastic')", no},
		{"before('capsule-rent', 'hooks-placed')", missing},
		{"before('withdrew', 'withdrew')", no},
		{"seconds('folds', 'aspiration-off') == 1", yes},
		{"seconds('viscoelastic', 'folds') == 3", yes}, // the next, not the first
		{"seconds('start', 'chose:fill') == 9", yes},
		{"seconds('withdrew', 'end') == 2", yes},
		{"at_most(seconds('withdrew', 'viscoelastic'), 1000)", no}, // never after it
		{"at_least(seconds('withdrew', 'viscoelastic'), 1000)", yes},
		{"seconds('capsule-rent', 'viscoelastic') < 9", missing},
		{"seconds('end', 'folds') < 9", no},
		{"within('folds', 'aspiration-off', 1)", yes},
		{"within('folds', 'aspiration-off', 0.9)", no},
		{"within('withdrew', 'sealed', 1.5)", no},
		{"within('withdrew', 'sealed', 5)", missing}, // the drill ended before they were up
		{"within('capsule-rent', 'sealed', 5)", missing},
		// Switches.
		{"off_after('aspiration', 'folds') == 1", yes},
		{"off_after('aspiration', 'viscoelastic') == 0", yes},
		{"off_after('ultrasound', 'start') == 0", yes},
		{"off_after('irrigation', 'folds') == 26.5", yes},
		{"on_after('irrigation', 'folds') == 0", yes},
		{"on_after('ultrasound', 'folds') < 1000", no},
		{"on_after('ultrasound', 'capsule-rent') < 1000", missing},
		{"kept_on('irrigation', 'start', 'withdrew')", yes}, // stops in the second of the withdrawal
		{"kept_on('irrigation', 'start', 'end')", no},
		{"kept_on('irrigation', 'folds', 'capsule-rent')", no}, // never came, so to the end
		{"kept_off('aspiration', 'folds', 'end')", no},
		{"kept_off('aspiration', 'viscoelastic', 'end')", yes},
		{"kept_on('irrigation', 'capsule-rent', 'end')", missing},
		// Measures.
		{"lowest('chamber_depth_mm') == 2.1", yes},
		{"highest('chamber_depth_mm') == 3.4", yes},
		{"at_start('dialysis_hours') == 2", yes},
		{"at_end('dialysis_hours') - at_start('dialysis_hours') == 0.5", yes},
		{"at_end('chamber_depth_mm') == 2.5", yes},
		{"lowest_between('chamber_depth_mm', 'folds', 'viscoelastic') == 2.2", yes},
		{"lowest_between('chamber_depth_mm', 'said-zonules', 'viscoelastic') == 2.6", yes},
		{"highest_between('chamber_depth_mm', 'folds', 'chose:hold') == 3.1", yes},
		{"lowest_between('chamber_depth_mm', 'viscoelastic', 'capsule-rent') == 2.1", yes},
		{"lowest_between('chamber_depth_mm', 'capsule-rent', 'end') > 0", missing},
		{"lowest_while('chamber_depth_mm', 'folds') == 2.2", yes},
		{"highest_while('chamber_depth_mm', 'folds') == 3.4", yes},
		{"lowest_while('chamber_depth_mm', 'bounce') > 0", missing},
		// Decisions and endings.
		{"chose('hold')", yes},
		{"chose('plan')", yes}, // though the eye refused it
		{"chose('clock-ran-out')", yes},
		{"chose('close-and-refer')", no},
		{"stance_count('preferred') == 2", yes},
		{"reason_given('hold')", yes},
		{"reason_given('fill')", no},
		{"reason_given('rotate')", missing},
		{"decisions() == 6", yes},
		{"timed_out_count() == 1", yes},
		{"refused_count() == 1", yes},
		{"ended('bag-saved')", yes},
		{"ended('support-lost')", no},
		{"safe()", yes},
		{"clock_off()", no},
		{"at_most(2, 2) && at_least(2, 2) && !at_most(3, 2)", yes},
		// Missing evidence only matters when nothing else decides.
		{"happened('folds') || first('capsule-rent') > 1", yes},
		{"first('capsule-rent') > 1 && happened('capsule-rent')", no},
		{"first('capsule-rent') > 1 || happened('capsule-rent')", missing},
	} {
		got, v := ask(t, r, c.rule)
		if got != c.want {
			t.Errorf("%s: %s, want %s (%v, missing %v)", c.rule, got, c.want, v.Evidence, v.Missing)
		}
		if got == missing && len(v.Missing) == 0 {
			t.Errorf("%s: missing, but does not say what", c.rule)
		}
		if got != missing && len(v.Evidence) == 0 && !strings.HasPrefix(c.rule, "at_most(2") {
			t.Errorf("%s: decided without evidence", c.rule)
		}
	}
}

func ask(t testing.TB, r *rubric.Record, src string) (string, rubric.Verdict) {
	t.Helper()
	b, err := compile(t, src)
	if err != nil {
		t.Fatalf("%s: %v", src, err)
	}
	v, err := r.Judge(b.Criteria[0].Levels[5])
	switch {
	case err != nil:
		t.Fatalf("%s: %v", src, err)
	case v.Undecided:
		return missing, v
	case v.Holds:
		return yes, v
	}
	return no, v
}

// While a drill runs, nothing is known of its ending; without decisions nothing is known at all.
func TestNothingIsKnownTooEarly(t *testing.T) {
	running := record(t, "scenario weak-sector\n0-3 chose hold:\n")
	for _, src := range []string{"safe()", "ended('bag-saved')", "!safe()"} {
		if got, _ := ask(t, running, src); got != missing {
			t.Errorf("%s while the drill runs: %s", src, got)
		}
	}
	for name, text := range map[string]string{
		"no decision":     "scenario weak-sector\nopen folds@-1\nending bag-saved safe\n",
		"all taken back":  "scenario weak-sector\n0-3 chose hold undone: folds@1\n",
		"nothing written": "",
	} {
		empty := record(t, text)
		for _, f := range rubric.Functions() {
			if got, _ := ask(t, empty, call(f)); got != missing {
				t.Errorf("%s: %s is %s", name, call(f), got)
			}
		}
	}
}

// call writes a condition that calls f with arguments it takes.
func call(f rubric.Function) string {
	var given []string
	for _, a := range f.Args {
		given = append(given, map[string]string{
			"mark": "'folds'", "other": "'withdrew'", "finding": "'folds'", "moment": "'start'", "from": "'folds'", "to": "'end'",
			"measure": "'chamber_depth_mm'", "switch": "'irrigation'", "choice": "'hold'", "stance": "'harmful'", "ending": "'bag-saved'",
			"value": "1", "limit": "2",
		}[a])
	}
	src := f.Name + "(" + strings.Join(given, ", ") + ")"
	if f.Result != 0 {
		src += " >= 0"
	}
	return src
}

// Measures that were never taken are missing; they are not zero.
func TestBlankMeasuresAreMissing(t *testing.T) {
	tl, err := sketch.Timeline("scenario weak-sector\n0-3 think: folds@1\n3-3 chose hold: withdrew@3\n")
	if err != nil {
		t.Fatal(err)
	}
	for i := range tl.Steps {
		s := &tl.Steps[i]
		blank := s.Thinking
		blank.Low, blank.High, blank.After = tl.Opening.Low, tl.Opening.Low, tl.Opening.Low
		s.Thinking, s.Doing.After = blank, tl.Opening.Low
	}
	r := rubric.NewRecord(tl)
	for _, src := range []string{"lowest('chamber_depth_mm') < 9", "highest('chamber_depth_mm') < 9", "at_end('chamber_depth_mm') < 9", "at_start('chamber_depth_mm') < 9", "lowest_between('chamber_depth_mm', 'folds', 'withdrew') < 9"} {
		if got, _ := ask(t, r, src); got != missing {
			t.Errorf("%s: %s", src, got)
		}
	}
}

// What a rule looked at says where and when.
func TestEvidenceInWords(t *testing.T) {
	r := record(t, drillText)
	for _, c := range []struct{ rule, want string }{
		{"happened('folds')", "folds at second 1.5 (while thinking before decision 1)"},
		{"happened('capsule-rent')", "capsule rent did not come up to second 30.0"},
		{"lowest('chamber_depth_mm') > 1", "lowest depth of the anterior chamber was 2.1 mm by second 30.0 (decision 6)"},
		{"seconds('folds', 'aspiration-off') < 3", "folds at second 1.5 (while thinking before decision 1); aspiration off at second 2.5 (while thinking before decision 1); from folds to aspiration off: 1.0 s"},
		{"chose('hold')", `the choice "hold" at second 3.0 (decision 1)`},
		{"happened('said-zonules')", `saying "zonules" at second 3.2 (decision 1)`},
		{"safe()", "the ending: bag-saved, a safe ending"},
		{"timed_out_count() == 0", "decisions left to the clock: clock-ran-out; decisions left to the clock: 1 up to second 30.0"},
		{"first('capsule-rent') > 1", "" /* nothing was seen */},
	} {
		_, v := ask(t, r, c.rule)
		var parts []string
		for _, e := range v.Evidence {
			parts = append(parts, e.String())
		}
		if got := strings.Join(parts, "; "); got != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.rule, got, c.want)
		}
	}
}

// The manual describes every function and every key; a function that is not in it does not exist.
func TestManualIsComplete(t *testing.T) {
	manual, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(manual)
	for _, f := range rubric.Functions() {
		entry := fmt.Sprintf("`%s(%s)`", f.Name, strings.Join(f.Args, ", "))
		if !strings.Contains(text, entry) {
			t.Errorf("the manual does not describe %s: %s", entry, f.Meaning)
		}
	}
	known := map[string]bool{}
	for _, f := range rubric.Functions() {
		known[f.Name] = true
	}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z_]+)\\(").FindAllStringSubmatch(text, -1) {
		if !known[m[1]] {
			t.Errorf("the manual describes %s, which does not exist", m[1])
		}
	}
	_, example, _ := strings.Cut(text, "```yaml\n")
	example, _, _ = strings.Cut(example, "```")
	if problems, advice := rubric.Check("README.md", []byte(example), names); len(problems)+len(advice) > 0 {
		t.Errorf("the manual's own example: %v %v", problems, advice)
	}
	for _, key := range []string{"zonule", "id", "version", "scenario", "standard", "licence", "attribution", "approved_by", "criteria", "weight", "needs", "levels", "anchors", "critical", "when", "why", "at", "caps"} {
		if !strings.Contains(text, "| `"+key+"` |") {
			t.Errorf("the manual does not describe the key %s", key)
		}
	}
}

func BenchmarkJudge(b *testing.B) {
	r := record(b, drillText)
	one, err := compile(b, "at_most(seconds('folds', 'aspiration-off'), 3) && lowest('chamber_depth_mm') > 1")
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := r.Judge(one.Criteria[0].Levels[5]); err != nil {
			b.Fatal(err)
		}
	}
}
