package dashboard

import (
	"context"
	"errors"
	"html/template"
	"log/slog"
	"net/http"
	"strings"
	"sync"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
)

// Deps is what the pages need. All of it is required.
type Deps struct {
	Roster     rosterv1.RosterServiceClient
	Progress   progressv1.ProgressServiceClient
	Assessment assessmentv1.AssessmentServiceClient
	Drill      drillv1.DrillServiceClient
	Scenario   scenariov1.ScenarioServiceClient
	Feed       Feed
	Log        *slog.Logger
}

func (d Deps) check() error {
	var missing []string
	for _, one := range []struct {
		name   string
		absent bool
	}{
		{"Roster", d.Roster == nil}, {"Progress", d.Progress == nil}, {"Assessment", d.Assessment == nil},
		{"Drill", d.Drill == nil}, {"Scenario", d.Scenario == nil}, {"Feed", d.Feed == nil}, {"Log", d.Log == nil},
	} {
		if one.absent {
			missing = append(missing, one.name)
		}
	}
	if len(missing) > 0 {
		return errors.New("the dashboard cannot be served without: " + strings.Join(missing, ", "))
	}
	return nil
}

// Pages serves the dashboard. It is an http.Handler, safe for use by several goroutines.
type Pages struct {
	Deps
	pages map[string]*template.Template
	files map[string]asset
	live  *fanout
	serve http.Handler

	stop    context.CancelFunc
	stopped sync.WaitGroup
}

// New makes the pages and begins to follow the feed. It refuses incomplete Deps. Call Close when the server shuts
// down: register it with http.Server.RegisterOnShutdown, because open event streams end only then.
func New(d Deps) (*Pages, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	p := &Pages{Deps: d, live: newFanout()}
	var err error
	if p.files, err = loadAssets(); err != nil {
		return nil, err
	}
	if p.pages, err = p.parse(); err != nil {
		return nil, err
	}
	p.serve = p.guard(p.routes())
	ctx, stop := context.WithCancel(context.Background())
	p.stop = stop
	p.stopped.Go(func() { p.live.follow(ctx, d.Feed, d.Log) })
	return p, nil
}

// ServeHTTP serves a page, a file or the event stream.
func (p *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.serve.ServeHTTP(w, r) }

// Close ends the following of the feed and every open event stream, and waits for the feed to let go.
func (p *Pages) Close() {
	p.stop()
	p.live.close()
	p.stopped.Wait()
}

func (p *Pages) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", page(p, "cohort.html", p.cohort))
	mux.HandleFunc("GET /trainees/{id}", page(p, "trainee.html", p.trainee))
	mux.HandleFunc("GET /drills/{id}", page(p, "debrief.html", p.debrief))
	mux.HandleFunc("GET /live", p.serveLive)
	mux.HandleFunc("GET /assets/{name}", p.serveAsset)
	mux.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) { p.fail(w, r, errNoPage) })
	return mux
}
