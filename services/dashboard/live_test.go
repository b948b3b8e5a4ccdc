package dashboard

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
)

// stream opens the event stream and gives its events, each as one string, until it ends.
func stream(t testing.TB, ctx context.Context, address string) <-chan string {
	t.Helper()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address+"/live", nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if got.StatusCode != http.StatusOK || got.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("%d %s", got.StatusCode, got.Header.Get("Content-Type"))
	}
	events := make(chan string, 100)
	go func() {
		defer close(events)
		defer got.Body.Close()
		one := ""
		for lines := bufio.NewScanner(got.Body); lines.Scan(); {
			if lines.Text() != "" {
				one += lines.Text() + "\n"
				continue
			}
			events <- one
			one = ""
		}
	}()
	return events
}

func next(t testing.TB, events <-chan string) string {
	t.Helper()
	select {
	case e, ok := <-events:
		if !ok {
			t.Fatal("the stream ended")
		}
		return e
	case <-time.After(20 * time.Second):
		t.Fatal("no event came")
	}
	return ""
}

func TestLiveTellsOfAssessedDrillsAndOfNothingElse(t *testing.T) {
	feed := newFakeFeed()
	o := invented()
	s := serve(t, o, feed)
	ctx, leave := context.WithCancel(context.Background())
	events := stream(t, ctx, s.URL)
	if e := next(t, events); !strings.HasPrefix(e, "retry: ") {
		t.Errorf("first %q", e)
	}
	first := next(t, events)
	if !strings.HasPrefix(first, "event: place\n") || !strings.Contains(first, "-0") {
		t.Errorf("then %q, want the place", first)
	}
	started := assessedEntry(t, "t-001", "x")
	started.Kind = "DrillStarted"
	feed.entries <- started
	feed.entries <- assessedEntry(t, "t-001", "d-\"1\"\nx")
	e := next(t, events)
	if !strings.HasPrefix(e, "event: assessed\n") || !strings.Contains(e, `"drill":"d-\"1\"\nx","person":"t-001"`) || strings.Count(e, "\n") != 3 {
		t.Errorf("told %q", e)
	}
	if strings.Contains(e, "Aino") {
		t.Errorf("an event carries a name: %q", e)
	}
	leave()
	for range events {
	}
}

func TestLiveEndsWhenThePagesClose(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	s := serve(t, invented(), newFakeFeed())
	events := stream(t, context.Background(), s.URL)
	next(t, events)
	s.Config.Handler.(*Pages).Close()
	for range events {
	}
	p.Close()
	if w := get(t, p, "/live"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("a closed stream answers %d", w.Code)
	}
}

func TestBrowsersThatLeaveAreForgotten(t *testing.T) {
	feed := newFakeFeed()
	s := serve(t, invented(), feed)
	p := s.Config.Handler.(*Pages)
	ctx, leave := context.WithCancel(context.Background())
	for range 5 {
		next(t, stream(t, ctx, s.URL))
	}
	if n := p.live.open(); n != 5 {
		t.Fatalf("%d browsers, want 5", n)
	}
	leave()
	for range 1000 { // until the handlers have noticed
		if p.live.open() == 0 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d browsers are still kept", p.live.open())
}

// open says how many browsers are kept.
func (f *fanout) open() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.browsers)
}

func TestSlowBrowserIsToldToReadAnewAndNeverGrows(t *testing.T) {
	f := newFanout()
	slow, _, _ := f.join()
	quick, _, _ := f.join()
	for range 3 * queueLength {
		f.give(assessedEntry(t, "t-001", "d"))
		if now, _ := f.take(quick); len(now) != 1 || now[0].entry == nil {
			t.Fatalf("the quick browser got %v", now)
		}
		if len(slow.queue) > queueLength {
			t.Fatalf("the slow browser's queue holds %d", len(slow.queue))
		}
	}
	now, more := f.take(slow)
	if !more || len(now) == 0 || now[0].entry != nil || now[len(now)-1].place != f.place() {
		t.Errorf("the slow browser got %d notices, more %v; want one to read anew first and the newest place last", len(now), more)
	}
	if !strings.HasPrefix(now[0].event(), "event: behind\n") {
		t.Errorf("it reads %q", now[0].event())
	}
}

func TestTooManyBrowsers(t *testing.T) {
	f := newFanout()
	for range mostBrowsers {
		if _, _, ok := f.join(); !ok {
			t.Fatal("refused too early")
		}
	}
	if _, _, ok := f.join(); ok {
		t.Error("one too many was let in")
	}
}

// brittle ends its first reading with an error.
type brittle struct{ tries int }

func (b *brittle) Follow(ctx context.Context, _ []string, _ func(*ledgerv1.Entry)) error {
	b.tries++
	if b.tries == 1 {
		return errors.New("the source is gone")
	}
	<-ctx.Done()
	return nil
}

func TestFeedThatGivesUpIsAskedAgainAndPagesReadAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, feed := newFanout(), &brittle{}
		b, before, _ := f.join()
		ctx, stop := context.WithCancel(context.Background())
		go f.follow(ctx, feed, slog.New(slog.NewTextHandler(io.Discard, nil)))
		time.Sleep(5 * time.Second)
		stop()
		synctest.Wait()
		now, _ := f.take(b)
		if feed.tries != 2 || len(now) != 1 || now[0].entry != nil || f.place() == before {
			t.Errorf("%d tries, %d notices", feed.tries, len(now))
		}
	})
}

func TestHeadOfTheStreamDoesNotWait(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	w := httptest.NewRecorder()
	p.ServeHTTP(w, httptest.NewRequest(http.MethodHead, "/live", nil))
	if w.Code != http.StatusOK || w.Body.Len() != 0 || p.live.open() != 0 {
		t.Errorf("%d with %d bytes, %d browsers kept", w.Code, w.Body.Len(), p.live.open())
	}
}

// A heartbeat keeps the connection open and shows a reader that left.
func TestHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &Pages{live: newFanout()}
		ctx, leave := context.WithCancel(context.Background())
		defer leave()
		in, out := io.Pipe()
		go func() {
			r, _ := http.NewRequestWithContext(ctx, http.MethodGet, "/live", nil)
			p.serveLive(&pipeWriter{Writer: out}, r)
			out.Close()
		}()
		lines := bufio.NewScanner(in)
		for lines.Scan() {
			if lines.Text() == ": still here" {
				leave()
			}
		}
		if ctx.Err() == nil {
			t.Error("no heartbeat came")
		}
	})
}

type pipeWriter struct{ io.Writer }

func (pipeWriter) Header() http.Header { return http.Header{} }
func (pipeWriter) WriteHeader(int)     {}
func (pipeWriter) Flush()              {}

// From an entry given by the feed to the cohort's fresh inside in a client's hands, over loopback: what a browser waits
// for before it draws. The offices answer at once.
func BenchmarkEntryToFreshCohort(b *testing.B) {
	o, feed := invented(), newFakeFeed()
	full := o.members[0]
	o.members = nil
	for i := range cohortPageSize {
		o.members = append(o.members, &progressv1.CohortMember{PersonId: fmt.Sprintf("t-%03d", i), DisplayName: "Invented", Row: full.Row})
	}
	s := serve(b, o, feed)
	ctx, leave := context.WithCancel(context.Background())
	defer leave()
	events := stream(b, ctx, s.URL)
	next(b, events)
	next(b, events)
	entry := assessedEntry(b, "t-001", "d")
	var took []float64
	for b.Loop() {
		began := time.Now()
		feed.entries <- entry
		next(b, events)
		r, _ := http.NewRequest(http.MethodGet, s.URL+"/", nil)
		r.Header.Set(partHeader, "main")
		got, err := http.DefaultClient.Do(r)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, got.Body); err != nil {
			b.Fatal(err)
		}
		got.Body.Close()
		took = append(took, time.Since(began).Seconds()*1000)
	}
	slices.Sort(took)
	b.ReportMetric(took[len(took)*99/100], "p99_ms")
}
