package dashboard

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
	"google.golang.org/grpc/codes"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	"zonule/services/fault"
)

func get(t testing.TB, p *Pages, address string, header ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, address, nil)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	p.ServeHTTP(w, r)
	return w
}

// document reads an answer as a browser does.
func document(t testing.TB, w *httptest.ResponseRecorder) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(w.Body.String()))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// find gives the elements of a name (any when empty) and a class (any when empty), in the document's order.
func find(n *html.Node, name, class string) []*html.Node {
	var out []*html.Node
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && (name == "" || d.Data == name) && (class == "" || slices.Contains(strings.Fields(attribute(d, "class")), class)) {
			out = append(out, d)
		}
	}
	return out
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

var everyPage = []string{"/", "/trainees/t-001", "/trainees/t-001?c=C3", "/trainees/t-003", "/trainees/t-006", "/drills/t-001-d24", "/drills/t-001-d25", "/drills/t-001-x01"}

func TestEveryPageIsWhole(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	for _, address := range append(everyPage, "/nowhere", "/trainees/nobody", "/drills/none") {
		w := get(t, p, address)
		doc := document(t, w)
		if n := len(find(doc, "h1", "")); n != 1 {
			t.Errorf("%s: %d headings of the first order", address, n)
		}
		if title := textOf(find(doc, "title", "")[0]); !strings.Contains(title, " · Zonule (invented programme)") {
			t.Errorf("%s: title %q", address, title)
		}
		if attribute(find(doc, "html", "")[0], "lang") != "en" {
			t.Errorf("%s: no language", address)
		}
		foot := textOf(find(doc, "footer", "")[0])
		for _, caution := range []string{"For training only. Not for use on or about a patient", "Local protocols, device instructions and licensed supervision decide", "shows reasoning in a simulated setting", "Nobody is ranked here, and nobody is passed or failed automatically"} {
			if !strings.Contains(foot, caution) {
				t.Errorf("%s: the caution %q is missing", address, caution)
			}
		}
		if len(find(doc, "", "invented")) != 1 {
			t.Errorf("%s: nothing says that the programme is invented", address)
		}
		ids := map[string]bool{}
		for d := range doc.Descendants() {
			checkElement(t, address, d, ids)
		}
	}
}

// checkElement refuses what the policy would block, and ids that come twice.
func checkElement(t *testing.T, address string, n *html.Node, ids map[string]bool) {
	t.Helper()
	for _, a := range n.Attr {
		if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
			t.Errorf("%s: <%s %s=%q> is inline", address, n.Data, a.Key, a.Val)
		}
		if (a.Key == "href" || a.Key == "src") && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") {
			t.Errorf("%s: <%s> leads to %q", address, n.Data, a.Val)
		}
		if a.Key == "id" && ids[a.Val] {
			t.Errorf("%s: two elements have the id %q", address, a.Val)
		}
		if a.Key == "id" {
			ids[a.Val] = true
		}
	}
	if (n.Data == "script" || n.Data == "style") && n.FirstChild != nil {
		t.Errorf("%s: <%s> holds its text inline", address, n.Data)
	}
}

func TestOnlyReading(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodPatch, http.MethodOptions, "TRACE"} {
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest(method, "/", nil))
		if w.Code != http.StatusMethodNotAllowed || w.Header().Get("Allow") != "GET, HEAD" {
			t.Errorf("%s: %d, Allow %q", method, w.Code, w.Header().Get("Allow"))
		}
	}
}

func TestSecurityHeadersOnEveryAnswer(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	for _, address := range []string{"/", "/nowhere", "/assets/page.css", "/assets/nothing", "/trainees/t-001"} {
		h := get(t, p, address).Header()
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Resource-Policy": "same-origin"} {
			if h.Get(name) != want {
				t.Errorf("%s: %s is %q", address, name, h.Get(name))
			}
		}
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") {
			t.Errorf("%s: policy %q", address, csp)
		}
	}
	if got := get(t, p, "/").Header().Get("Cache-Control"); got != "no-store" {
		t.Errorf("a page with names may be kept: %q", got)
	}
}

func TestFilesCarryTheirVersion(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	doc := document(t, get(t, p, "/"))
	var addresses []string
	for _, n := range append(find(doc, "link", ""), find(doc, "script", "")...) {
		addresses = append(addresses, attribute(n, "href")+attribute(n, "src"))
	}
	css := get(t, p, "/assets/page.css").Body.String()
	for _, part := range strings.Split(css, `url("`)[1:] {
		name, _, _ := strings.Cut(part, `"`)
		addresses = append(addresses, "/assets/"+name)
	}
	if len(addresses) != 6 {
		t.Errorf("%d files: %q", len(addresses), addresses)
	}
	for _, a := range addresses {
		w := get(t, p, a)
		if w.Code != http.StatusOK || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") || w.Header().Get("Content-Type") == "" {
			t.Errorf("%s: %d, %q, %q", a, w.Code, w.Header().Get("Cache-Control"), w.Header().Get("Content-Type"))
		}
		if again := get(t, p, a, "If-None-Match", w.Header().Get("ETag")); again.Code != http.StatusNotModified {
			t.Errorf("%s again: %d", a, again.Code)
		}
	}
}

func TestFailuresAreWorded(t *testing.T) {
	cases := []struct {
		address string
		down    error
		status  int
		says    string
		hides   string
	}{
		{address: "/nowhere", status: 404, says: "There is no page at this address."},
		{address: "/trainees/nobody", status: 404, says: "Nobody on the roster has that id."},
		{address: "/trainees/t-001?c=C11", status: 400, says: "C1 to C10"},
		{address: "/trainees/t-001?c=%22%3E%3Cscript%3E", status: 400, says: "C1 to C10", hides: "<script>"},
		{address: "/", down: fault.New(codes.Unavailable, "VIEW_IN_REPAIR", "secret detail"), status: 503, says: "Wait a few seconds and load this page again.", hides: "secret detail"},
		{address: "/", down: fault.New(codes.Internal, "UNEXPECTED", "secret detail"), status: 500, says: "These pages only read", hides: "secret detail"},
	}
	for _, c := range cases {
		o := invented()
		o.down = c.down
		w := get(t, newPages(t, o, newFakeFeed()), c.address)
		text := textOf(find(document(t, w), "main", "")[0])
		if w.Code != c.status || !strings.Contains(strings.ToLower(text), strings.ToLower(c.says)) {
			t.Errorf("%s: %d %q, want %d with %q", c.address, w.Code, text, c.status, c.says)
		}
		if c.hides != "" && strings.Contains(w.Body.String(), c.hides) {
			t.Errorf("%s shows %q", c.address, c.hides)
		}
		if (c.status == 503) != (w.Header().Get("Retry-After") != "") {
			t.Errorf("%s: Retry-After %q at %d", c.address, w.Header().Get("Retry-After"), w.Code)
		}
	}
}

func TestIncompleteDepsAreRefused(t *testing.T) {
	o := invented()
	_, err := New(Deps{Roster: o, Progress: o, Drill: o, Scenario: o})
	if err == nil || !strings.Contains(err.Error(), "Assessment, Feed, Log") {
		t.Errorf("New gave %v, want a refusal that names what is missing", err)
	}
}

func TestPartIsTheInsideOfMain(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	for _, address := range everyPage {
		part := strings.TrimSpace(get(t, p, address, partHeader, "main").Body.String())
		whole := get(t, p, address).Body.String()
		if strings.Contains(part, "<html") || !strings.Contains(whole, part) {
			t.Errorf("%s: the part is not the inside of the page's main element", address)
		}
	}
}

// Every text that a person or an office may write is tried as an attack on the page.
func TestNothingWrittenByOthersBecomesMarkup(t *testing.T) {
	const evil = `"><script>alert(1)</script><img src=x onerror=alert(1)>'`
	o := invented()
	o.programme.Name = evil
	o.members[0].DisplayName = evil
	for _, s := range o.members[0].Row.Standings {
		s.Title = evil
	}
	for _, c := range o.curves {
		c.Title = evil
		c.Fit.NotYet = evil
		for _, pt := range c.Points {
			pt.ScenarioId, pt.Variant, pt.DrillId, pt.CriticalErrors = evil, evil, evil, []string{evil}
		}
	}
	o.version.Complication, o.version.ReviewedBy = evil, evil
	d := o.drills[1]
	d.ShownAs, d.Variant, d.Bench, d.Model, d.Ending, d.ScenarioId = evil, evil, evil, evil, evil, evil
	line := o.timelines["t-001-d24"]
	line.Opening.Marks[0].Name, line.Opening.Marks[1].Text = evil, evil
	for _, s := range line.Steps {
		s.Say, s.Stage, s.Reason, s.Because, s.Refused, s.Next = evil, evil, evil, evil, evil, evil
		for _, a := range s.Free {
			a.Verb, a.Words = evil, map[string]string{evil: evil}
		}
	}
	a := o.judged["t-001-d24"]
	a.Rubric, a.ApprovedBy = evil, evil
	a.CriticalErrors[0].Title, a.CriticalErrors[0].Reason, a.CriticalErrors[0].Caps = evil, evil, []string{evil}
	for _, m := range a.Marks {
		m.Title, m.Anchor, m.Reason, m.Rule = evil, evil, evil, evil
		for _, e := range m.Evidence {
			e.Text, e.Unit = evil, evil
		}
	}
	o.members = append(o.members, &progressv1.CohortMember{PersonId: evil, DisplayName: evil, Row: &progressv1.TraineeRow{}})
	p := newPages(t, o, newFakeFeed())
	for _, address := range []string{"/", "/trainees/t-001?c=C3", "/drills/t-001-d24"} {
		w := get(t, p, address)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d", address, w.Code)
		}
		doc := document(t, w)
		if n := len(find(doc, "script", "")); n != 1 {
			t.Errorf("%s: %d scripts, want our own only", address, n)
		}
		if n := len(find(doc, "img", "")); n != 0 {
			t.Errorf("%s: %d images", address, n)
		}
		if !strings.Contains(textOf(find(doc, "main", "")[0]), "<script>alert(1)</script>") {
			t.Errorf("%s: the text itself is not shown: the test tries nothing", address)
		}
		ids := map[string]bool{}
		for d := range doc.Descendants() {
			checkElement(t, address, d, ids)
		}
	}
}
