package dashboard

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

func TestChangesTellWhatMovedAndAlwaysDepthAndPressure(t *testing.T) {
	_, steps := stepsOf(inventedTimeline())
	want := []change{
		{"Depth of the chamber, mm", "3.1", "2.9", "2.2", "1.6", "3.1", true},
		{"Pressure in the chamber, mmHg", "41", "38", "26", "14", "41", true},
		{"Vitreous pressure above chamber pressure, mmHg", "−6", "−4", "3", "−6", "3", true},
		{"Zonules missing, clock hours", "3.6", "3.6", "5.1", "3.6", "5.1", true},
		{"Face of the vitreous broken", "no", "no", "yes", "no", "yes", true},
		{"Vitreous in the chamber, µL", "0.0", "0.0", "2.4", "0.0", "2.4", true},
		{"Vitreous lost in all, µL", "0.0", "0.0", "2.4", "0.0", "2.4", true},
		{"Chamber filled with viscoelastic, %", "10", "8", "5", "5", "10", true},
		{"Vacuum in the line, mmHg", "280", "310", "120", "120", "330", true},
	}
	if diff := cmp.Diff(want, steps[0].Changes); diff != "" {
		t.Errorf("first decision (-want +got):\n%s", diff)
	}
	still := steps[4].Changes
	if still[0].Measure != "Depth of the chamber, mm" || still[1].Moved != true {
		t.Errorf("fifth decision: %+v", still)
	}
}

func TestUndoneDecisionLeavesNoTrace(t *testing.T) {
	line := inventedTimeline()
	line.Steps[0].Undone = true
	_, steps := stepsOf(line)
	if got := steps[1].Changes[0].Before; got != "3.1" {
		t.Errorf("after an undone decision the scene is shown at a depth of %s mm, want the 3.1 mm before it", got)
	}
	traces, err := tracesOf(line)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(traces[0].Rows); n != 1+2*5 {
		t.Errorf("the trace has %d stretches, want 11", n)
	}
}

func TestSegmentsThatDoNotFitTheNamesAreReadAsFarAsTheyGo(t *testing.T) {
	got := stretchOf([]string{"a", "b"}, &drillv1.Segment{After: []float64{1, 2, 3}, Low: extreme([]uint32{1, 9, 0}, 0.5, 7)})
	if diff := cmp.Diff(map[string]float64{"a": 1, "b": 2}, got.after); diff != "" {
		t.Errorf("after (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(map[string]float64{"b": 0.5}, got.low); diff != "" {
		t.Errorf("low (-want +got):\n%s", diff)
	}
}

func TestSightRemembersHowAFindingRead(t *testing.T) {
	got := sight{}.read([]*drillv1.Mark{
		{AtS: 1, Name: "chamber-shallow", Text: "The chamber shallows."}, {AtS: 2, Name: "viscoelastic", Text: "230 uL"}, {AtS: 3, Name: "said-stop"},
		{AtS: 4, Name: "chamber-shallow", Off: true}, {AtS: 5, Name: "strand-at-port", Off: true},
	})
	want := []seen{
		{At: seconds(1), Text: "The chamber shallows."}, {At: seconds(2), Text: "viscoelastic: 230" + nb + "µL", Signal: true}, {At: seconds(3), Text: "said stop", Signal: true},
		{At: seconds(4), Text: "The chamber shallows.", Gone: true}, {At: seconds(5), Text: "strand at port", Gone: true},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestEvidenceLeadsToItsDecision(t *testing.T) {
	_, steps := stepsOf(inventedTimeline())
	a := assessedOf(inventedAssessment(), steps)
	want := evidenceView{Text: "Lowest depth of the chamber", At: "8.3" + nb + "s", Value: "1.6" + nb + "mm", Href: "#decision-1", Decision: 1}
	if diff := cmp.Diff(want, a.Marks[1].Evidence[0]); diff != "" {
		t.Errorf("evidence (-want +got):\n%s", diff)
	}
	if a.Marks[3].CappedBy != "The nucleus was rotated against the weak sector" {
		t.Errorf("C7 is capped by %q", a.Marks[3].CappedBy)
	}
	if diff := cmp.Diff([]string{"The nucleus was rotated against the weak sector"}, steps[0].CriticalHere); diff != "" {
		t.Errorf("at the decision (-want +got):\n%s", diff)
	}
	if a.Critical[0].Anchor != "decision-1" || a.Critical[0].Caps[0].Title != "Protects capsule and zonules" {
		t.Errorf("critical error: %+v", a.Critical[0])
	}
}

func TestDebriefPage(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	doc := document(t, get(t, p, "/drills/t-001-d24"))
	main := find(doc, "main", "")[0]
	text := textOf(main)
	critical, decisions := strings.Index(text, "Critical error"), strings.Index(text, "Decisions")
	if critical < 0 || critical > decisions || critical > strings.Index(text, "What the eye did") {
		t.Error("critical errors do not come first")
	}
	if n := len(find(main, "li", "step")); n != 6 {
		t.Errorf("%d decisions, want 6", n)
	}
	if n := len(find(main, "svg", "chart")); n != 4 {
		t.Errorf("%d charts, want two in two sizes", n)
	}
	for _, want := range []string{"Harmful: makes things worse. The author’s reason: it turns the bag on what still holds it.", "Free action: the author says nothing about it.", "withdraw, tool phaco-tip, pedal 0", "the clock ran out and decided",
		"The third hook found no edge to hold.", "No longer: The chamber shallows.", "Recorded: viscoelastic", "zonular dialysis at chop", "Ending: bag saved", "they predict nothing about a patient"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if strings.Contains(text, "harm index") {
		t.Error("the summary index of harm is shown")
	}
}

// What is hidden from the trainee stays hidden on the pages too, as long as the drill runs.
func TestRunningDrillShowsNothingHidden(t *testing.T) {
	o := invented()
	o.timelines["t-001-d25"] = inventedTimeline()
	w := get(t, newPages(t, o, newFakeFeed()), "/drills/t-001-d25")
	if !strings.Contains(w.Body.String(), "This drill is still running") {
		t.Error("nothing says that the drill is running")
	}
	for _, hidden := range []string{"zonular", "vitreous", "strand-at-tip", "Harmful"} {
		if strings.Contains(strings.ToLower(w.Body.String()), strings.ToLower(hidden)) {
			t.Errorf("the page of a running drill says %q", hidden)
		}
	}
}
