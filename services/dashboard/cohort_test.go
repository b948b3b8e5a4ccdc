package dashboard

import (
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
)

func TestCohortRow(t *testing.T) {
	got := rowOf(&progressv1.CohortMember{PersonId: "t-009", DisplayName: " ", Row: &progressv1.TraineeRow{
		Drills: 3, LastAt: day(0), CriticalErrors: 7,
		Standings: []*progressv1.Standing{{Criterion: "C6", Title: "The rubric's title", Shown: 2, LastLevel: 3, CriticalErrors: 1}},
	}})
	want := cell{competency: competency{"C6", "The rubric's title", "Vitreous"}, Shown: true, Level: 3, Count: 2, Critical: 1,
		Href: "/trainees/t-009?c=C6", Key: "cell:t-009:C6", Value: "3/2/1"}
	if diff := cmp.Diff(want, got.Cells[5], cmp.AllowUnexported(cell{})); diff != "" {
		t.Errorf("C6 (-want +got):\n%s", diff)
	}
	if got.Cells[0].Shown || len(got.Cells) != 10 {
		t.Errorf("cells: %+v", got.Cells)
	}
	got.Cells = nil
	row := cohortRow{ID: "t-009", Name: "Name erased", Href: "/trainees/t-009", Drills: 3, Last: moment{"2 Mar 2026", "2 Mar 2026, 09:30 UTC", "2026-03-02T09:30:00Z"}, Key: "trainee:t-009", Value: "3"}
	if diff := cmp.Diff(row, got); diff != "" {
		t.Errorf("row (-want +got):\n%s", diff)
	}
}

func TestCohortPage(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	doc := document(t, get(t, p, "/"))
	table := find(doc, "table", "cohort")[0]
	rows := find(find(table, "tbody", "")[0], "tr", "")
	var ids []string
	for _, r := range rows {
		ids = append(ids, strings.TrimPrefix(attribute(r, "data-key"), "trainee:"))
		if n := len(find(r, "td", "cell")); n != 10 {
			t.Errorf("%s has %d competencies", attribute(r, "data-key"), n)
		}
	}
	want := []string{"t-001", "t-002", "t-003", "t-004", "t-005", "t-006", "t-007", "t-008"}
	if diff := cmp.Diff(want, ids); diff != "" {
		t.Errorf("order of the trainees (-want +got):\n%s", diff)
	}
	// a level is a number and as many filled steps, never a colour alone
	c3 := find(rows[0], "td", "cell")[2]
	if got := textOf(find(c3, "", "unseen")[0]); got != "C3 Tells causes apart: level 4, 22 drills, 2 critical errors" {
		t.Errorf("C3 of the first trainee is read as %q", got)
	}
	if got := attribute(find(c3, "use", "")[0], "href"); got != "#stair-4" {
		t.Errorf("C3 of the first trainee shows the steps %s", got)
	}
	for _, s := range find(doc, "symbol", "") {
		if n, ok := strings.CutPrefix(attribute(s, "id"), "stair-"); ok && (n != fmt.Sprint(len(find(s, "rect", "on"))) || len(find(s, "rect", "")) != 5) {
			t.Errorf("the steps for level %s: %d of %d are filled", n, len(find(s, "rect", "on")), len(find(s, "rect", "")))
		}
	}
	if got := textOf(find(rows[5], "td", "cell")[0]); !strings.Contains(got, "not shown yet") {
		t.Errorf("a competency never shown is read as %q", got)
	}
	for _, word := range []string{"rank 1", "mean", "total", "sort"} {
		if head := strings.ToLower(textOf(find(table, "thead", "")[0])); strings.Contains(head, word) {
			t.Errorf("the table's head says %q", word)
		}
	}
}

func TestCohortPagesOn(t *testing.T) {
	o := &offices{}
	for i := range cohortPageSize + 7 {
		o.members = append(o.members, &progressv1.CohortMember{PersonId: fmt.Sprintf("t-%03d", i), DisplayName: "Invented", Row: &progressv1.TraineeRow{}})
	}
	p := newPages(t, o, newFakeFeed())
	first := document(t, get(t, p, "/"))
	links := find(find(first, "nav", "pages")[0], "a", "")
	if len(links) != 1 || attribute(links[0], "href") != "/?after=t-049" {
		t.Fatalf("the first page leads on by %v", links)
	}
	last := document(t, get(t, p, attribute(links[0], "href")))
	if n := len(find(find(last, "tbody", "")[0], "tr", "")); n != 7 {
		t.Errorf("the last page shows %d trainees, want 7", n)
	}
	links = find(find(last, "nav", "pages")[0], "a", "")
	if len(links) != 1 || textOf(links[0]) != "First page" {
		t.Errorf("the last page leads on by %v", links)
	}
}

func TestEmptyProgramme(t *testing.T) {
	p := newPages(t, &offices{}, newFakeFeed())
	w := get(t, p, "/")
	text := textOf(find(document(t, w), "main", "")[0])
	if w.Code != 200 || !strings.Contains(text, "No trainees yet") {
		t.Errorf("%d %q", w.Code, text)
	}
	if strings.Contains(w.Body.String(), "Invented programme") {
		t.Error("an undescribed programme is called invented")
	}
}

// The page for 50 trainees with everything shown; the offices answer at once.
func BenchmarkCohortPage(b *testing.B) {
	o := invented()
	full := o.members[0]
	o.members = nil
	for i := range cohortPageSize {
		o.members = append(o.members, &progressv1.CohortMember{PersonId: fmt.Sprintf("t-%03d", i), DisplayName: "Invented", Row: full.Row})
	}
	p := newPages(b, o, newFakeFeed())
	b.ReportAllocs()
	for b.Loop() {
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
		b.ReportMetric(float64(w.Body.Len()), "page_bytes")
	}
}
