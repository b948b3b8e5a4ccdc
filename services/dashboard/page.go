package dashboard

import (
	"bytes"
	"context"
	"net/http"
	"time"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

// pageDeadline is how long the offices may take over one page.
const pageDeadline = 10 * time.Second

// partHeader asks for the inside of the main element only.
const partHeader = "Zonule-Part"

// frame is what surrounds every page.
type frame struct {
	Title     string
	Programme string // empty while the programme is not described
	Invented  bool
	At        string // where the feed stood when the page was begun
	Live      bool   // whether the page is kept up to date
	Watches   string // the trainee or drill the page is about, for the script; empty for the cohort
	Trail     []crumb
	Main      any
}

// crumb is one step of the way to a page.
type crumb struct{ Words, Href string }

// page makes a handler of a function that fills a page. The feed's place is taken before the offices are asked, so
// that a page is never thought newer than it is.
func page[T any](p *Pages, name string, fill func(context.Context, *http.Request, *frame) (T, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ctx, done := context.WithTimeout(r.Context(), pageDeadline)
		defer done()
		f := frame{At: p.live.place(), Live: true}
		main, err := fill(ctx, r, &f)
		if err != nil {
			p.fail(w, r, err)
			return
		}
		f.Main = main
		p.describe(ctx, &f)
		p.print(w, r, http.StatusOK, name, f)
	}
}

// describe adds the programme's name. A page without it is better than no page, so a failure leaves it out.
func (p *Pages) describe(ctx context.Context, f *frame) {
	got, err := p.Roster.GetProgramme(ctx, &rosterv1.GetProgrammeRequest{})
	if err != nil {
		return
	}
	f.Programme, f.Invented = got.GetProgramme().GetName(), got.GetProgramme().GetInvented()
}

// print writes a page, or its main part when only that was asked for. Nothing is sent before all of it is made.
func (p *Pages) print(w http.ResponseWriter, r *http.Request, status int, name string, f frame) {
	block := "page"
	if r.Header.Get(partHeader) == "main" {
		block = "part"
	}
	var out bytes.Buffer
	if err := p.pages[name].ExecuteTemplate(&out, block, f); err != nil {
		p.Log.Error("a page could not be printed", "page", name, "error", err)
		http.Error(w, "This page could not be printed. Tell whoever looks after the site.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Vary", partHeader)
	w.WriteHeader(status)
	_, _ = w.Write(out.Bytes()) // the reader may have left; there is nobody to tell
}
