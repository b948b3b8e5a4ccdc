package rubric

import (
	"fmt"
	"strings"
	"testing"

	"zonule/assessor/sketch"
)

// given lists arguments to try for each kind: things that came, that never came, and the two ends.
var given = map[string][]string{
	"mark": {"folds", "capsule-rent", "chose:hold", "said-stop"}, "other": {"withdrew", "folds"},
	"finding": {"folds", "bounce"}, "measure": {"chamber_depth_mm", "in_bag"}, "switch": {"irrigation", "aspiration", "ultrasound"},
	"moment": {"start", "end", "folds", "capsule-rent"}, "from": {"start", "end", "folds", "capsule-rent"}, "to": {"start", "end", "withdrew", "capsule-rent"},
	"choice": {"hold", "rotate"}, "stance": {"preferred", "harmful"}, "ending": {"bag-saved", "closed-and-referred"},
}

// calls writes a condition for every combination of arguments of f.
func calls(f Function) []string {
	out := []string{""}
	for _, a := range f.Args {
		words := []string{"0", "2"}
		if names, ok := given[a]; ok {
			words = nil
			for _, n := range names {
				words = append(words, "'"+n+"'")
			}
		}
		var longer []string
		for _, head := range out {
			for _, w := range words {
				longer = append(longer, head+", "+w)
			}
		}
		out = longer
	}
	for i, args := range out {
		out[i] = f.Name + "(" + strings.TrimPrefix(args, ", ") + ")"
		if f.Result != 0 {
			out[i] += " > 1"
		}
	}
	return out
}

// Every function with every kind of argument on every beginning of a drill: it never fails, it says
// what is missing when something is, and otherwise it shows what it looked at.
func TestFunctionsAreTotal(t *testing.T) {
	lines := []string{
		"scenario weak-sector", "open folds@-1 aspirating=1 irrigation_on=1 chamber_depth_mm=3",
		"0-2 think: -folds@1 aspiration-off@1 chamber_depth_mm=2..3", "2-3 chose hold preferred: said-stop@2",
		"3-3 chose rotate harmful refused:", "3-9 free: folds@4 withdrew@5 irrigation-off@5", "9-9 chose clock-ran-out timed-out:",
		"ending bag-saved safe",
	}
	language, err := newVocabulary(scenarioNames).language()
	if err != nil {
		t.Fatal(err)
	}
	tried, decided := 0, 0
	for _, f := range Functions() {
		for _, src := range calls(f) {
			r, err := language.Compile(src)
			if err != nil {
				t.Fatalf("%s: %v", src, err)
			}
			for n := range len(lines) + 1 {
				tl, err := sketch.Timeline(strings.Join(lines[:n], "\n"))
				if err != nil {
					t.Fatal(err)
				}
				tried++
				v, err := NewRecord(tl).Judge(r)
				where := fmt.Sprintf("%s after %d lines", src, n)
				switch {
				case err != nil:
					t.Errorf("%s: %v", where, err)
				case v.Undecided && (v.Holds || len(v.Missing) == 0):
					t.Errorf("%s: missing, but %+v", where, v)
				case !v.Undecided && len(v.Evidence) == 0 && f.Name != "at_most" && f.Name != "at_least":
					t.Errorf("%s: decided without evidence", where)
				}
				if !v.Undecided {
					decided++
				}
				for _, e := range v.Evidence {
					if e.Name == "" || e.String() == "" || e.Second < 0 || e.Second > 9 {
						t.Errorf("%s: evidence %+v reads %q", where, e, e)
					}
				}
			}
		}
	}
	t.Logf("%d rules tried, %d decided", tried, decided)
	if tried < 1500 || decided < 700 {
		t.Errorf("only %d rules tried, %d decided", tried, decided)
	}
}
