package script

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"zonule/scenarios/script/text"
)

func good(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func parsed(t testing.TB, data []byte) *Scenario {
	t.Helper()
	sc, err := Parse("good.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return sc
}

// sameMeaning compares scenarios without their text's bytes and places.
var sameMeaning = cmp.Options{
	cmpopts.IgnoreUnexported(Scenario{}, Guard{}, Term{}),
	cmpopts.IgnoreFields(Scenario{}, "Digest"),
	cmpopts.EquateEmpty(),
}

func TestParseGood(t *testing.T) {
	sc := parsed(t, good(t))
	if sc.ID != "sample-case" || len(sc.Stages) != 3 || len(sc.Endings) != 3 || !sc.FreeHands {
		t.Errorf("parsed %+v", sc)
	}
	if sc.Digest != Digest(good(t)) || len(sc.Digest) != 64 {
		t.Errorf("digest %q", sc.Digest)
	}
	if got := Check(sc); got != nil {
		t.Errorf("Check of a parsed scenario: %v", got)
	}
	if st, ch, ok := sc.Choice("hooks-first"); !ok || st.Name != "plan" || !ch.AsksReason || ch.When.Source != "given.hooks" {
		t.Errorf("choice hooks-first: %v %v %v", st, ch, ok)
	}
}

func TestFormatRoundTrip(t *testing.T) {
	first := parsed(t, good(t))
	printed := Format(first)
	second, err := Parse("printed.yaml", printed)
	if err != nil {
		t.Fatalf("%v\n%s", err, printed)
	}
	if diff := cmp.Diff(first, second, sameMeaning); diff != "" {
		t.Errorf("the printed text means something else (-first +second):\n%s", diff)
	}
	if again := Format(second); string(again) != string(printed) {
		t.Errorf("printing twice differs:\n%s", cmp.Diff(string(printed), string(again)))
	}
}

func TestCheckOfAChangedScenario(t *testing.T) {
	sc := parsed(t, good(t))
	sc.ShownAs = "The loose zonules"
	sc.Stages[1].Next = nil
	problems := Check(sc)
	if len(problems) != 2 || !strings.Contains(problems[0].Message, "gives the complication away") || !strings.Contains(problems[1].Message, "dead end") {
		t.Errorf("problems %v", problems)
	}
}

// TestMalformed reads testdata/bad-*.yaml: each begins with lines "# want LINE:COL: words", which are all the
// problems it has, in order; the words are part of the message.
func TestMalformed(t *testing.T) {
	files, err := filepath.Glob("testdata/bad-*.yaml")
	if err != nil || len(files) < 15 {
		t.Fatalf("%d malformed scenarios, %v", len(files), err)
	}
	for _, f := range files {
		t.Run(strings.TrimSuffix(filepath.Base(f), ".yaml"), func(t *testing.T) {
			data, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			_, err = Parse("s.yaml", data)
			problems, ok := err.(text.Problems)
			if !ok {
				t.Fatalf("not refused: %v", err)
			}
			want := wants(string(data))
			if len(problems) != len(want) {
				t.Fatalf("%d problems, want %d:\n%v", len(problems), len(want), problems)
			}
			for i, p := range problems {
				got := strings.TrimPrefix(p.String(), "s.yaml:")
				place, words, _ := strings.Cut(want[i], ": ")
				if !strings.HasPrefix(got, place+": ") || !strings.Contains(got, words) {
					t.Errorf("problem %q, want %q", got, want[i])
				}
				if p.Do == "" {
					t.Errorf("%q does not say what to do", got)
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

func FuzzParse(f *testing.F) {
	f.Add(good(f))
	files, _ := filepath.Glob("testdata/bad-*.yaml")
	for _, name := range files {
		if data, err := os.ReadFile(name); err == nil {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		sc, err := Parse("f.yaml", data)
		if err != nil {
			return
		}
		again, err := Parse("again.yaml", Format(sc))
		if err != nil {
			t.Fatalf("what was printed is refused: %v\n%s", err, Format(sc))
		}
		if diff := cmp.Diff(sc, again, sameMeaning); diff != "" {
			t.Fatal(diff)
		}
	})
}

func BenchmarkParse(b *testing.B) {
	data := good(b)
	for b.Loop() {
		if _, err := Parse("good.yaml", data); err != nil {
			b.Fatal(err)
		}
	}
}
