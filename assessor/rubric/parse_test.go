package rubric

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// scenarioNames are the names of the invented scenario in testdata.
var scenarioNames = Names{
	Scenario:  "weak-sector",
	Choices:   []string{"hold", "rotate", "fill", "call", "plan"},
	Endings:   []string{"bag-saved", "support-lost"},
	Evidences: []string{"C1", "C2", "C7", "C9"},
}

func sample(t testing.TB) string {
	t.Helper()
	data, err := os.ReadFile("testdata/weak-sector.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestParse(t *testing.T) {
	r, err := Parse("weak-sector.yaml", []byte(sample(t)), scenarioNames)
	if err != nil {
		t.Fatal(err)
	}
	if r.ID != "weak-sector-test" || r.Version != 3 || r.ApprovedBy != "none yet" || len(r.Digest) != 64 || len(r.Criteria) != 4 || len(r.Critical) != 2 {
		t.Fatalf("read %+v", r)
	}
	c := r.Criteria[0]
	if c.ID != "C1" || c.Weight != 2 || c.Needs == nil || c.Levels[5] == nil || c.Levels[1] != nil {
		t.Errorf("C1 is %+v", c)
	}
	if !strings.HasPrefix(c.Anchors[5], "Foot up within three") || c.Anchors[4] != TheStandard().Criterion("C1").Anchors[4] {
		t.Errorf("anchors of C1: %q", c.Anchors)
	}
	if w := r.Criteria[1].Weight; w != 1 {
		t.Errorf("a weight left out is %g", w)
	}
	if got := r.Critical[0]; got.ID != "pulled-gel" || !cmp.Equal(got.Caps, []Cap{{"C2", 2}, {"C7", 1}}) {
		t.Errorf("critical error %+v", got)
	}
}

// Each case spoils the sample in one place; the refusal must name that place.
func TestParseRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"a finding":      {"happened('folds')", "happened('fold')", `:13:22: "fold" is no finding or signal of the eye; did you mean "folds"?`},
		"a measure":      {"lowest('chamber_depth_mm') > 2.4", "lowest('chamber_depth') > 2.4", `:23:18: "chamber_depth" is no measure of the eye`},
		"a choice":       {"chose('call') && reason", "chose('cal') && reason", `:35:17: "cal" is no choice of the scenario; did you mean "call"?`},
		"a switch":       {"off_after('aspiration', 'folds'), 8", "off_after('suction', 'folds'), 8", `:17:29: "suction" is no switch`},
		"a function":     {"happened('pulled", "happend('pulled", `:39:12: "happend" is not known here; did you mean "happened"?`},
		"in a block":     {"!happened('capsule-rent')\n      2", "!happened('capsule-rend')\n      2", `:31:19: "capsule-rend" is no finding or signal`},
		"an error place": {`at: "chose:rotate"`, `at: "chose:turn"`, `:45:9: "turn" is no choice`},
		"no condition":   {`"off_after('aspiration', 'folds') < 60"`, `"off_after('aspiration', 'folds')"`, `:18:11: the rule gives no true or false`},
		"level 1":        {"      2: \"off_after", "      1: \"off_after", `:18:10: level 1 has a rule`},
		"level 6":        {"      3: \"chose", "      6: \"chose", `6 is no level`},
		"a criterion":    {"  C9:", "  C11:", `"C11" is no criterion of the standard`},
		"a weight":       {"weight: 2", "weight: 0", `:12:13: weight 0 is out of range`},
		"a cap":          {"C7: 1", "C7: 3", `:41:16: a critical error cannot leave level 3`},
		"a cap's name":   {"{C7: 1", "{C8: 1", `the error caps C8, which this rubric does not judge`},
		"no why":         {`    why: "Vitreous was pulled without cutting, which loads the retina"` + "\n", "", `a critical error needs a reason`},
		"unknown key":    {"weight: 2", "wieght: 2", `:12:5:`},
		"the kind":       {"rubric/1", "rubric/9", `:2:9: this is no rubric of the version read here`},
		"the scenario":   {"scenario: weak-sector", "scenario: other", `:5:11: the rubric judges "other", but stands beside "weak-sector"`},
		"the standard":   {"zonule-ten/1", "zonule-ten/7", `the standard "zonule-ten/7" is not known`},
		"the licence":    {"licence: Apache-2.0\n", "", `the rubric does not say licence`},
		"the approval":   {"approved_by: none yet\n", "", `the rubric does not say approved_by`},
		"not claimed":    {"  C9:", "  C4:", `C4 is judged, but the scenario does not claim to show it`},
		"claimed":        {"  C9:", "  C4:", `the scenario claims to show C9, which is not judged here`},
	} {
		t.Run(name, func(t *testing.T) {
			text := sample(t)
			if strings.Count(text, c.old) == 0 {
				t.Fatalf("the sample does not hold %q", c.old)
			}
			_, err := Parse("r.yaml", []byte(strings.Replace(text, c.old, c.new, 1)), scenarioNames)
			if err == nil {
				t.Fatal("it was accepted")
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
			for _, line := range strings.Split(err.Error(), "\n") {
				if !strings.HasPrefix(line, "r.yaml:") || !strings.Contains(line, "; ") && !strings.Contains(line, "did you mean") {
					t.Errorf("no place or no advice in %q", line)
				}
			}
		})
	}
}

// Several mistakes are reported together, in the order of the text.
func TestParseReportsAll(t *testing.T) {
	text := strings.NewReplacer("weight: 2", "weight: 99", "happened('pulled-vitreous')", "happened('pulled')", "version: 3", "version: 0").Replace(sample(t))
	_, err := Parse("r.yaml", []byte(text), scenarioNames)
	if err == nil {
		t.Fatal("it was accepted")
	}
	lines := strings.Split(err.Error(), "\n")
	if len(lines) != 3 || !strings.HasPrefix(lines[0], "r.yaml:4:") || !strings.HasPrefix(lines[1], "r.yaml:12:") || !strings.HasPrefix(lines[2], "r.yaml:39:") {
		t.Errorf("reported\n%v", err)
	}
}

func TestSaidWords(t *testing.T) {
	names := scenarioNames
	names.Said = []string{"stop", "zonules"}
	if _, err := Parse("r.yaml", []byte(sample(t)), names); err != nil {
		t.Fatal(err)
	}
	names.Said = []string{"stop", "zonule"}
	if _, err := Parse("r.yaml", []byte(sample(t)), names); err == nil || !strings.Contains(err.Error(), `"zonules" is no word said in the scenario; did you mean "zonule"?`) {
		t.Errorf("a word nobody can say: %v", err)
	}
}

func TestCheckAdvises(t *testing.T) {
	if problems, advice := Check("r.yaml", []byte(sample(t)), scenarioNames); len(problems)+len(advice) != 0 {
		t.Errorf("the sample: %v %v", problems, advice)
	}
	text := strings.NewReplacer(
		"at_most(off_after('aspiration', 'folds'), 8)", "at_most(off_after('aspiration', 'folds'), 3)",
		"    caps: {C7: 1, C2: 2}\n", "",
		"weight: 2", "weight: 9",
		`      5: "chose('call') && reason_given('call')"`+"\n", "",
	).Replace(sample(t))
	problems, advice := Check("r.yaml", []byte(text), scenarioNames)
	if len(problems) != 0 {
		t.Fatal(problems)
	}
	got := advice.Error()
	for _, want := range []string{"level 3 of C1 has the same rule as level 4", "pulled-gel caps no criterion", "C1 weighs 75 %", "C9 tells only two levels apart", "C9 cannot reach level 5"} {
		if !strings.Contains(got, want) {
			t.Errorf("no advice %q in\n%s", want, got)
		}
	}
	if problems, _ := Check("r.yaml", []byte("zonule: rubric/1\n"), scenarioNames); len(problems) == 0 {
		t.Error("an empty rubric has no problems")
	}
}

func TestStandard(t *testing.T) {
	s := TheStandard()
	if s.Ref() != "zonule-ten/1" || s.ApprovedBy != "none yet" {
		t.Errorf("the standard is %s, approved by %q", s.Ref(), s.ApprovedBy)
	}
	seen := map[string]string{}
	for _, d := range s.Criteria {
		for l := 1; l <= Top; l++ {
			if other := seen[d.Anchors[l]]; other != "" {
				t.Errorf("%s level %d has the anchor of %s", d.ID, l, other)
			}
			seen[d.Anchors[l]] = d.ID
		}
	}
	for old, want := range map[string]string{
		"  C10:":                  "the criteria are not C1 to C10",
		"zonule: standard/1":      "is not a kind of text",
		"  5: {name: sure, means": "level 5 is not described",
	} {
		text := strings.Replace(string(standardText), old, strings.NewReplacer("C10", "C12", "standard/1", "x", "name: sure", "name: ''").Replace(old), 1)
		if _, err := parseStandard("s.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("spoilt at %q: %v", old, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(sample(f))
	f.Add("zonule: rubric/1\ncriteria: {C1: {levels: {5: 'happened(1)'}}}\ncritical: {a: {}}\n")
	f.Add("criteria: {C1: null}\ncritical: [1]\n")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := Parse("f.yaml", []byte(text), scenarioNames)
		if (r == nil) == (err == nil) {
			t.Errorf("neither a rubric nor an error, or both: %v %v", r, err)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	data := []byte(sample(b))
	for b.Loop() {
		if _, err := Parse("r.yaml", data, scenarioNames); err != nil {
			b.Fatal(err)
		}
	}
}
