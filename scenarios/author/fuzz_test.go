package author

import (
	"os"
	"path/filepath"
	"testing"

	"zonule/scenarios/script"
)

// FuzzCheck looks for texts that Parse takes and on which the tools break: none may panic, a scenario differs from
// itself in nothing, and what is printed is found to be as right or wrong as before.
func FuzzCheck(f *testing.F) {
	files, _ := New("practice-nine")
	f.Add([]byte(files[0].Text))
	for _, pattern := range []string{"testdata/bad-*.yaml", "../script/testdata/good.yaml", "../library/*/scenario.yaml"} {
		names, _ := filepath.Glob(pattern)
		for _, name := range names {
			if data, err := os.ReadFile(name); err == nil {
				f.Add(data)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		sc, err := script.Parse("f.yaml", data)
		if err != nil {
			return
		}
		v := Check(sc, Known{Untried: true, Evidence: EvidenceOf([]string{"happened('sealed')"})})
		if d := Diff(sc, sc); len(d) > 0 {
			t.Fatalf("it differs from itself: %v", d)
		}
		Draw(sc, Ways{})
		again, err := script.Parse("again.yaml", script.Format(sc))
		if err != nil {
			t.Fatalf("what was printed is refused: %v", err)
		}
		if d := Diff(sc, again); len(d) > 0 {
			t.Fatalf("printing changed it: %v", d)
		}
		w := Check(again, Known{Untried: true, Evidence: EvidenceOf([]string{"happened('sealed')"})})
		if len(v.Wrong) != len(w.Wrong) || len(v.Advice) != len(w.Advice) {
			t.Fatalf("printed, it is otherwise wrong:\n%v\n%v", v.Wrong, w.Wrong)
		}
	})
}
