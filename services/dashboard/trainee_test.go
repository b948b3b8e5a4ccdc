package dashboard

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
)

func TestIntervalWords(t *testing.T) {
	// 14 of 20: the Wilson limits by hand, the exact ones from memory; the test is of the words
	got := intervalWords(&progressv1.Interval{Met: 14, Of: 20, Confidence: 0.95, ExactLow: 0.4572, ExactHigh: 0.8811, WilsonLow: 0.4810, WilsonHigh: 0.8545})
	text := strings.ReplaceAll(strings.Join(got, " "), nb, " ")
	for _, want := range []string{"Met the standard in 14 of 20 drills (70 %).", "With 95 % confidence", "between 46 % and 88 % by the exact", "between 48 % and 85 % by the Wilson", "treat the drills as independent"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in %q", want, text)
		}
	}
	if intervalWords(&progressv1.Interval{}) != nil || intervalWords(nil) != nil {
		t.Error("an interval over no drills is put into words")
	}
}

func TestChartWordsStateTheirProbabilities(t *testing.T) {
	text := strings.ReplaceAll(strings.Join(chartWords(&progressv1.Chart{AdequateRate: 0.1, InadequateRate: 0.25, Limit: 1.25, Horizon: 50, FalseSignal: 0.891, TrueSignal: 0.9995}), " "), nb, " ")
	for _, want := range []string{"Limit 1.25, for a failure rate of 10 % called adequate and 25 % called inadequate.", "Within 50 drills", "at the inadequate rate would still reach the limit with a probability of 89 %", "at the adequate rate with more than 99 %", "has not reached the limit", "something to weigh, not a decision"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in %q", want, text)
		}
	}
	if got := signalWords(&progressv1.Chart{SignalAt: 34}); got != "The score first reached the limit at drill 34." {
		t.Errorf("a signal reads %q", got)
	}
}

func TestFitWords(t *testing.T) {
	if got := fitWords(&progressv1.Fit{NotYet: "4 drills are too few."}); !cmp.Equal(got, []string{"No curve is fitted: 4 drills are too few."}) {
		t.Errorf("no fit reads %q", got)
	}
	got := strings.Join(fitWords(&progressv1.Fit{Plateau: 4.2, PlateauSe: 0.25, Gap: 2.1, Rate: 0.2, RateSe: 0.05, ResidualSd: 0.5, Confidence: 0.9}), " ")
	for _, want := range []string{"begins at level 2.10 and approaches level 4.20 (standard error 0.25)", "not of a single drill"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing in %q", want, got)
		}
	}
}

func TestCurveView(t *testing.T) {
	v, err := curveOf(series("t-001", "C6", 8, 2.5, 3), "Aino Invented")
	if err != nil {
		t.Fatal(err)
	}
	row := v.Points[2]
	want := pointRow{Number: 3, Href: "/drills/t-001-d03", Shown: "weak sector at chop, usual", At: momentOf(day(9)), Level: 2, Critical: []string{"pulled with suction on"},
		Fitted: row.Fitted, Score: row.Score, Key: "point:t-001-d03:C6", Words: "Drill 3: level 2, capped by a critical error"}
	if diff := cmp.Diff(want, row); diff != "" {
		t.Errorf("third drill (-want +got):\n%s", diff)
	}
	// the fit at drill 3 is 4.3 - 2.5 exp(-0.36) = 2.558, its half width 0.25 + 0.5/3
	if row.Fitted != "2.56 (2.14 to 2.97)" {
		t.Errorf("the fit at drill 3 reads %q", row.Fitted)
	}
	if v.Points[7].Score == "" || !v.HasFit || !v.HasChart {
		t.Errorf("fit %v, chart %v, last score %q", v.HasFit, v.HasChart, v.Points[7].Score)
	}
}

func TestTraineePage(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	doc := document(t, get(t, p, "/trainees/t-001?c=C3"))
	var current []string
	for _, a := range find(find(doc, "nav", "ten")[0], "a", "") {
		if attribute(a, "aria-current") == "true" {
			current = append(current, attribute(a, "href"))
		}
	}
	if diff := cmp.Diff([]string{"/trainees/t-001?c=C3"}, current); diff != "" {
		t.Errorf("chosen (-want +got):\n%s", diff)
	}
	charts := find(doc, "svg", "chart")
	if len(charts) != 4 {
		t.Fatalf("%d charts, want two in two sizes", len(charts))
	}
	for _, c := range charts {
		if attribute(c, "role") != "img" || !strings.Contains(attribute(c, "aria-label"), "Aino Invented in C3") {
			t.Errorf("a chart is labelled %q with role %q", attribute(c, "aria-label"), attribute(c, "role"))
		}
		if n := len(find(c, "g", "datum")); n != 22 {
			t.Errorf("a chart shows %d points, want 22", n)
		}
	}
	for _, table := range find(doc, "table", "data")[:2] {
		if n := len(find(find(table, "tbody", "")[0], "tr", "")); n != 22 {
			t.Errorf("the table %q has %d rows, want 22", textOf(find(table, "caption", "")[0]), n)
		}
	}
	if text := textOf(find(doc, "main", "")[0]); strings.Contains(text, "%!") || strings.Contains(text, "NaN") {
		t.Error("the page shows a number that went wrong")
	}
}

func TestTraineeWithoutDrills(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	doc := document(t, get(t, p, "/trainees/t-006"))
	text := textOf(find(doc, "main", "")[0])
	for _, want := range []string{"No assessed drill has shown this competency yet.", "No drill has been started yet."} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if n := len(find(doc, "svg", "chart")); n != 0 {
		t.Errorf("%d charts over nothing", n)
	}
}

func TestPercentNeverRoundsWhatIsPossibleAway(t *testing.T) {
	for share, want := range map[float64]string{0: "0 %", 0.0001: "less than 1 %", 0.5: "50 %", 0.9999: "more than 99 %", 1: "100 %"} {
		if got := strings.ReplaceAll(percent(share), nb, " "); got != want {
			t.Errorf("%v reads %q, want %q", share, got, want)
		}
	}
}

// A trainee's page with 22 drills in the chosen competency: two charts in two sizes.
func BenchmarkTraineePage(b *testing.B) {
	p := newPages(b, invented(), newFakeFeed())
	b.ReportAllocs()
	for b.Loop() {
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest("GET", "/trainees/t-001?c=C3", nil))
		b.ReportMetric(float64(w.Body.Len()), "page_bytes")
	}
}
