package sketch

import (
	"strings"
	"testing"

	"zonule/scenarios/play"
)

func TestTimeline(t *testing.T) {
	got, err := Timeline(`
# a drill
scenario weak-sector
clock-off
open folds@-2 aspirating=1
0-3 think: aspiration-off@1.8 chamber_depth_mm=2.4..3.1>2.9
3-6 chose hold preferred "I saw folds": viscoelastic@5 -folds@5.5
6-6 free refused undone timed-out:
ending bag-saved safe
`)
	if err != nil {
		t.Fatal(err)
	}
	if got.ScenarioID != "weak-sector" || !got.ClockOff || got.Ending != "bag-saved" || !got.Safe || len(got.Steps) != 2 {
		t.Fatalf("read %+v", got)
	}
	s := got.Steps[0]
	depth, _ := s.Doing.Low.Get("chamber_depth_mm")
	low, _ := s.Thinking.Low.Get("chamber_depth_mm")
	on, _ := s.Doing.After.Get("aspirating")
	if s.Choice != "hold" || s.Stance != play.Preferred || s.Reason != "I saw folds" || s.Elapsed != 3 || depth != 2.9 || low != 2.4 || on != 1 || len(s.Doing.Marks) != 2 || !s.Doing.Marks[1].Off {
		t.Errorf("first decision %+v", s)
	}
	if f := got.Steps[1]; f.Index != 1 || f.Choice != "" || !f.Undone || f.Refused == "" || !f.TimedOut {
		t.Errorf("second decision %+v", f)
	}
}

func TestTimelineRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"begin":                       "line 1",
		"\n0-3 thinks:":               "line 2",
		"0-3 chose:":                  "think, chose or free",
		"0-3 think: folds":            "neither a mark",
		"0-3 think: depth=3":          "no measure",
		"0-3 think: pedal=two":        "no value",
		`0-3 chose a "never closed :`: "closing quote",
	} {
		if got, err := Timeline(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}
