package author

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

func startedPolicies(t testing.TB, sc *script.Scenario) []play.Policy {
	t.Helper()
	files, err := New(sc.ID)
	if err != nil {
		t.Fatal(err)
	}
	ps, err := play.ParsePolicies("p.yaml", []byte(files[2].Text), sc)
	if err != nil {
		t.Fatal(err)
	}
	return ps
}

// byStance marks a drill by the stances of its choices: a plain judge for the tests. wrongly changes the marks.
func byStance(wrongly func(ids []string, m *Marks)) Judge {
	return func(t *play.Timeline) (Marks, error) {
		m := Marks{Mean: 5}
		var ids []string
		for _, s := range t.Steps {
			ids = append(ids, s.Choice)
			switch s.Stance {
			case play.Harmful:
				m.Mean -= 0.5
			case play.Critical:
				m.Mean -= 1
				m.Critical = []string{"critical-choice"}
			case play.Suboptimal:
				m.Mean -= 0.2
			}
			if s.Choice == script.SafeStop || s.Choice == script.ClockRanOut {
				m.Mean -= 0.4
			}
		}
		m.Mean = max(1, m.Mean)
		level := int(m.Mean)
		for _, id := range []string{"C1", "C2", "C4", "C5", "C7", "C10"} {
			m.Levels = append(m.Levels, Level{id, level})
		}
		if wrongly != nil {
			wrongly(ids, &m)
		}
		return m, nil
	}
}

func explored(t *testing.T, sc *script.Scenario, j Judge, workers int) *Report {
	t.Helper()
	var last, calls int
	r, err := Explore(sc, Plan{Seed: 3, Seeds: 1, Depth: 2, Samples: 40, Policies: startedPolicies(t, sc), Judge: j, Workers: workers, Progress: func(done, total int) {
		calls++
		last = total - done
	}})
	if err != nil || last != 0 || calls != 9 {
		t.Fatalf("%v; told %d times, %d parts not done", err, calls, last)
	}
	return r
}

func TestExploreTheStartingFile(t *testing.T) {
	sc := started(t)
	r := explored(t, sc, byStance(nil), 2)
	if len(r.Look) > 0 {
		t.Errorf("look at: %s", strings.Join(r.Look, "\n"))
	}
	if !r.Way.InTop || r.Way.Marks != 5 || r.Way.Drills != 3 || r.Way.Critical != 0 || r.Way.OthersHarm <= r.Way.Harm {
		t.Errorf("the author's way: %+v", r.Way)
	}
	sum := 0
	for _, e := range r.Endings {
		sum += e.Count
	}
	if sum != r.Drills || r.Drills < 100 {
		t.Errorf("%d endings of %d drills", sum, r.Drills)
	}
	for _, m := range r.Criteria {
		if !m.Moves || slices.Max(m.Levels[:]) == 0 {
			t.Errorf("%+v", m)
		}
	}
	i := slices.IndexFunc(r.Choices, func(c Choice) bool { return c.Choice == "to-the-middle" })
	if c := r.Choices[i]; c.Marks != -1 || c.Critical != 1 || c.Own || c.Turns != 3 || c.Stage != "last" {
		t.Errorf("to-the-middle: %+v", c)
	}
}

func TestExploringIsRepeatable(t *testing.T) {
	sc := started(t)
	one, _ := json.Marshal(explored(t, sc, byStance(nil), 1))
	three, _ := json.Marshal(explored(t, sc, byStance(nil), 3))
	if string(one) != string(three) {
		t.Error("the report depends on the number of workers")
	}
}

func TestWhatAnAuthorShouldLookAt(t *testing.T) {
	sc := started(t)
	cases := []struct {
		name    string
		wrongly func(ids []string, m *Marks)
		want    string
	}{
		{"a harmful choice rewarded", func(ids []string, m *Marks) {
			if slices.Contains(ids, "out-and-seal") {
				m.Mean = 5
			}
		}, "out-and-seal at leave is harmful and the marks do not show it"},
		{"a right choice punished", func(ids []string, m *Marks) {
			if slices.Contains(ids, "far-side-as-set") {
				m.Mean -= 1
			}
		}, "far-side-as-set at order is acceptable and is marked down"},
		{"a criterion that stands still", func(_ []string, m *Marks) { m.Levels[2].Level = 3 }, "the criterion C4 never moved"},
		{"the author's way marked down", func(ids []string, m *Marks) {
			if slices.Contains(ids, "lower-then-far-side") {
				m.Mean, m.Critical = 1, []string{"x"}
			}
		}, "the author's way commits 3 critical errors in 3 drills"},
	}
	for _, c := range cases {
		r := explored(t, sc, byStance(c.wrongly), 2)
		if !slices.ContainsFunc(r.Look, func(s string) bool { return strings.Contains(s, c.want) }) {
			t.Errorf("%s: nothing says %q:\n%s", c.name, c.want, strings.Join(r.Look, "\n"))
		}
	}
}

// Ways that go round for ever, and stages and endings nobody comes to, are found by playing.
func TestWhatOnlyPlayingFinds(t *testing.T) {
	text := string(script.Format(started(t)))
	text = strings.Replace(text, "      - {go: leave}", `      - {when: "eye.hooks == 6 && eye.ring_in", go: leave}`, 1)
	sc := parsed(t, text)
	if v := Check(sc, Known{Untried: true}); len(v.Wrong) > 0 {
		t.Fatal(v.Wrong)
	}
	r := explored(t, sc, nil, 2)
	all := strings.Join(r.Look, "\n")
	for _, want := range []string{"were given up", "no drill came to the stage leave", "no drill ended in held"} {
		if !strings.Contains(all, want) {
			t.Errorf("nothing says %q:\n%s", want, all)
		}
	}
}

func TestPlansThatDoNotGo(t *testing.T) {
	sc := started(t)
	for _, p := range []Plan{{Seeds: 1}, {Seeds: 0, Policies: startedPolicies(t, sc)}, {Seeds: 1, Depth: 9, Policies: startedPolicies(t, sc)}} {
		if _, err := Explore(sc, p); err == nil {
			t.Errorf("the plan %+v was taken", p)
		}
	}
}
