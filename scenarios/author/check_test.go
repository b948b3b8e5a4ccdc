package author

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"zonule/scenarios/library"
	"zonule/scenarios/script"
)

// started parses the starting file, the tests' small whole scenario.
func started(t testing.TB) *script.Scenario {
	t.Helper()
	files, err := New("practice-nine")
	if err != nil {
		t.Fatal(err)
	}
	return parsed(t, files[0].Text)
}

func parsed(t testing.TB, words string) *script.Scenario {
	t.Helper()
	sc, err := script.Parse("s.yaml", []byte(words))
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

func TestTheStartingFilePasses(t *testing.T) {
	if v := Check(started(t), Known{Today: "2026-11-01"}); len(v.Wrong)+len(v.Advice) > 0 {
		t.Errorf("wrong: %v\nadvice: %v", v.Wrong, v.Advice)
	}
	for _, id := range []string{"", "Upper", "two  words", "weak-zonules", "vitreous", "a--b", strings.Repeat("a", 41)} {
		if _, err := New(id); err == nil {
			t.Errorf("the name %q was taken", id)
		}
	}
}

// long plays every scenario of the library instead of a few.
var long = os.Getenv("ZONULE_LONG") != ""

// Every text of the library passes; a few of them, or with ZONULE_LONG all, are played as well.
func TestTheLibraryPasses(t *testing.T) {
	items, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	for i, it := range items {
		if v := Check(it.Scenario, Known{Untried: i >= 2 && !long}); len(v.Wrong) > 0 {
			t.Errorf("%s: %v", it.ID, v.Wrong)
		}
	}
}

// TestDamaged reads testdata/bad-*.yaml: each passes Parse and begins with lines "# want LINE:COL: words", which
// are all that Check finds wrong, in order; the words are part of the message.
func TestDamaged(t *testing.T) {
	files, err := filepath.Glob("testdata/bad-*.yaml")
	if err != nil || len(files) < 20 {
		t.Fatalf("%d damaged scenarios, %v", len(files), err)
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".yaml"), func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			got := Check(parsed(t, string(data)), Known{}).Wrong
			want := wants(string(data))
			if len(got) != len(want) {
				t.Fatalf("%d problems, want %d:\n%v", len(got), len(want), got)
			}
			for i, p := range got {
				said := strings.TrimPrefix(p.String(), "s.yaml:")
				place, words, _ := strings.Cut(want[i], ": ")
				if !strings.HasPrefix(said, place+": ") || !strings.Contains(said, words) {
					t.Errorf("problem %q, want %q", said, want[i])
				}
				if p.Do == "" {
					t.Errorf("%q does not say what to do", said)
				}
			}
		})
	}
}

func wants(data string) []string {
	var out []string
	for _, line := range strings.Split(data, "\n") {
		if w, ok := strings.CutPrefix(line, "# want "); ok {
			out = append(out, w)
		}
	}
	return out
}

func TestAdvice(t *testing.T) {
	sc := started(t)
	text := string(script.Format(sc))
	text = strings.Replace(text, `      out-and-seal:`, `      two: {say: "Two", stance: harmful, because: b}
      three: {say: "Three", stance: harmful, because: b}
      four: {say: "Four", stance: harmful, because: b}
      out-and-seal:`, 1)
	text = strings.Replace(text, "      along-the-rim:\n", "      along-the-rim:\n        when: \"given.weak > 5\"\n", 1)
	text = strings.Replace(text, "      to-the-middle:\n", "      to-the-middle:\n        when: \"given.weak > 5\"\n", 1)
	v := Check(parsed(t, text), Known{Today: "2027-06-02"})
	if len(v.Wrong) > 0 {
		t.Errorf("wrong: %v", v.Wrong)
	}
	all := v.Advice.Error()
	for _, want := range []string{"5 choices are much to read", "may all fail at once", "the review was due on 2027-06-01"} {
		if !strings.Contains(all, want) {
			t.Errorf("no advice that %s:\n%s", want, all)
		}
	}
}

func TestEvidence(t *testing.T) {
	text := string(script.Format(started(t)))
	text = strings.Replace(text, "      out-and-seal:", `      think: {say: "Think", does: [{wait: 2 s}], stance: harmful, because: b}
      out-again: {say: "Come out and seal it", does: [{pedal: 0}, withdraw, seal], stance: harmful, because: b}
      out-and-seal:`, 1)
	sc := parsed(t, text)
	cases := []struct {
		rules []string
		want  []string
	}{
		{[]string{"happened('sealed') && chose('pull-through')"}, []string{"comes of this choice", "tell this choice from out-again"}},
		{[]string{`stance_count("harmful") == 0`, "happened('said-stop')", "lowest('chamber_depth_mm') > 2"}, []string{"tell this choice from out-again"}},
		{[]string{"chose('think')", "happened('chose:out-again')", "at_end('harm') < 3"}, nil},
		{[]string{"chose('think')", "happened('sealed')", "chose('out-and-seal')"}, nil},
	}
	for _, c := range cases {
		got := Check(sc, Known{Evidence: EvidenceOf(c.rules), Untried: true}).Wrong
		if len(got) != len(c.want) {
			t.Errorf("%v: %v, want %q", c.rules, got, c.want)
			continue
		}
		for i := range got {
			if !strings.Contains(got[i].Message, c.want[i]) {
				t.Errorf("%v: %v, want %q", c.rules, got[i], c.want[i])
			}
		}
	}
	if none := Check(sc, Known{Evidence: EvidenceOf(nil), Untried: true}).Wrong; len(none) != 15 {
		t.Errorf("a rubric that asks nothing leaves %d choices unseen: %v", len(none), none)
	}
}
