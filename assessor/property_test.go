package assessor

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// related are the marks that the test rubric asks about; the others must not matter.
var related = []string{"folds", "aspiration-off", "aspiration-on", "viscoelastic", "withdrew", "vitreous-came", "cutting", "rotated", "pulled-vitreous", "said-zonules"}

func unrelated() []string {
	var out []string
	for _, f := range eye.Findings() {
		if !slices.Contains(related, f.ID) {
			out = append(out, f.ID)
		}
	}
	for _, s := range eye.Signals() {
		if !slices.Contains(related, s.Name) {
			out = append(out, s.Name)
		}
	}
	return out
}

// random makes a drill of a few decisions with marks from among the given ones.
func random(r *rand.Rand, marks []string) play.Timeline {
	tl := play.Timeline{ScenarioID: "weak-sector", Model: eye.Model}
	depth, _ := eye.MeasureIndex("chamber_depth_mm")
	hours, _ := eye.MeasureIndex("dialysis_hours")
	clock, _ := eye.MeasureIndex("time_s")
	var now eye.Measures
	now[depth], now[hours] = 3, 2*r.Float64()
	second := 0.0
	segment := func() play.Segment {
		s := play.Segment{Start: second, End: second + 5*r.Float64()}
		for range r.IntN(4) {
			name := marks[r.IntN(len(marks))]
			s.Marks = append(s.Marks, eye.Mark{At: s.Start + (s.End-s.Start)*r.Float64(), Name: name, Off: name == "folds" && r.IntN(3) == 0})
		}
		slices.SortFunc(s.Marks, func(a, b eye.Mark) int { return int(1e6 * (a.At - b.At)) })
		now[clock] = s.End + 1
		s.Low, s.High = now, now
		s.Low[depth] = now[depth] - 2*r.Float64()
		now[hours] += 0.5 * r.Float64()
		s.High[hours], s.After = now[hours], now
		second = s.End
		return s
	}
	tl.Opening = play.Segment{Start: 0, End: 0, After: now}
	choices := []string{"hold", "rotate", "fill", "call", ""}
	for i := range 1 + r.IntN(6) {
		tl.Steps = append(tl.Steps, play.Step{
			Index: i, Choice: choices[r.IntN(len(choices))], Reason: []string{"", "because"}[r.IntN(2)],
			Thinking: segment(), Doing: segment(), Undone: r.IntN(8) == 0,
		})
	}
	return tl
}

func judged(t *testing.T, tl play.Timeline) Assessment {
	t.Helper()
	a, err := Assess(tl, standing(t))
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, a)
	return a
}

// One more critical error never raises a level, and never lowers the number of errors.
func TestACriticalErrorNeverRaisesALevel(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	marks := slices.DeleteFunc(slices.Clone(related), func(s string) bool { return s == "pulled-vitreous" || s == "rotated" })
	lowered := 0
	for range 300 {
		tl := random(r, marks)
		before := judged(t, tl)
		s := &tl.Steps[len(tl.Steps)-1]
		if s.Undone {
			continue
		}
		// The two errors' marks are asked about by nothing else in the rubric.
		bad := []string{"pulled-vitreous", "rotated"}[r.IntN(2)]
		s.Doing.Marks = append(s.Doing.Marks, eye.Mark{At: s.Doing.End, Name: bad})
		after := judged(t, tl)
		if len(after.Critical) < len(before.Critical) {
			t.Fatalf("an error disappeared: %v, then %v", before.Critical, after.Critical)
		}
		for i, c := range after.Criteria {
			if c.Level > before.Criteria[i].Level {
				t.Fatalf("%s rose from %d to %d with a critical error", c.ID, before.Criteria[i].Level, c.Level)
			}
			if c.Level < before.Criteria[i].Level {
				lowered++
			}
		}
		if after.Mean > before.Mean {
			t.Fatalf("the mean rose from %g to %g", before.Mean, after.Mean)
		}
	}
	if lowered < 50 {
		t.Errorf("only %d levels were lowered: the property was hardly tried", lowered)
	}
}

// A drill without a standing decision shows nothing, whatever else was recorded.
func TestNothingDecidedShowsNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for i := range 50 {
		tl := random(r, related)
		tl.Ending, tl.Safe = "bag-saved", true
		if i%2 == 0 {
			tl.Steps = nil
		}
		for k := range tl.Steps {
			tl.Steps[k].Undone = true
		}
		a := judged(t, tl)
		if a.Shown != 0 || a.Mean != 0 || len(a.Critical) != 0 {
			t.Fatalf("shown %d, mean %g, errors %v", a.Shown, a.Mean, a.Critical)
		}
		if s := a.Summary(); !strings.Contains(s, "None of 5 criteria was shown") {
			t.Fatal(s)
		}
	}
}

// Marks that no rule asks about change nothing, wherever they come and in whatever order.
func TestUnrelatedMarksChangeNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	others := unrelated()
	for range 200 {
		tl := random(r, related)
		want := judged(t, tl)
		for k := range tl.Steps {
			for _, s := range []*play.Segment{&tl.Steps[k].Thinking, &tl.Steps[k].Doing} {
				for range r.IntN(4) {
					at := r.IntN(len(s.Marks) + 1)
					second := s.Start
					if at > 0 {
						second = s.Marks[at-1].At
					}
					s.Marks = slices.Insert(s.Marks, at, eye.Mark{At: second, Name: others[r.IntN(len(others))], Off: r.IntN(2) == 0})
				}
			}
		}
		if d := cmp.Diff(want, judged(t, tl)); d != "" {
			t.Fatal(d)
		}
	}
}

// The same drill judged twice, or at the same time by several, gives the same words.
func TestAssessIsDeterministic(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	rub := standing(t)
	for range 30 {
		tl := random(r, related)
		want, err := Assess(tl, rub)
		if err != nil {
			t.Fatal(err)
		}
		results := make(chan Assessment, 4)
		for range 4 {
			go func() {
				a, _ := Assess(tl, rub)
				results <- a
			}()
		}
		for range 4 {
			if d := cmp.Diff(want, <-results); d != "" {
				t.Fatal(d)
			}
		}
	}
}

func BenchmarkAssess(b *testing.B) {
	rub := standing(b)
	for _, n := range []int{10, 60} {
		r := rand.New(rand.NewPCG(5, 5))
		tl := random(r, related)
		for len(tl.Steps) < n {
			more := random(r, slices.Concat(related, unrelated()))
			shift := tl.Steps[len(tl.Steps)-1].Doing.End
			for _, s := range more.Steps {
				s.Index = len(tl.Steps)
				for _, g := range []*play.Segment{&s.Thinking, &s.Doing} {
					g.Start, g.End = g.Start+shift, g.End+shift
					for k := range g.Marks {
						g.Marks[k].At += shift
					}
				}
				tl.Steps = append(tl.Steps, s)
			}
		}
		b.Run(fmt.Sprintf("decisions=%d", len(tl.Steps)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Assess(tl, rub); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
