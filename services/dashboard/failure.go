package dashboard

import (
	"context"
	"errors"
	"net/http"
	"time"

	"google.golang.org/grpc/codes"
	"zonule/services/fault"
)

var (
	errNoPage   = fault.New(codes.NotFound, "NO_SUCH_PAGE", "There is no page at this address.")
	errReadOnly = fault.New(codes.Unimplemented, "READ_ONLY", "These pages can be read, not written to.")
	errBroken   = fault.New(codes.Internal, "UNEXPECTED", "Something failed while this page was made.")
)

// failurePage says what went wrong and what to do.
type failurePage struct {
	Status   int
	Heading  string
	Sentence string // what the office said, when a person can act on it
	Do       string
	Reason   string // the machine-readable reason, to quote to whoever looks after the site
}

// failure puts a refusal into words. What only a log should hold is not shown.
func failure(err error) failurePage {
	f := fault.From(err)
	out := failurePage{Reason: f.Reason}
	switch f.Code {
	case codes.NotFound:
		out.Status, out.Heading = http.StatusNotFound, "Not found"
		out.Sentence, out.Do = f.Sentence, "Check the address, or find the trainee in the cohort."
	case codes.InvalidArgument, codes.OutOfRange:
		out.Status, out.Heading = http.StatusBadRequest, "This address cannot be read"
		out.Sentence, out.Do = f.Sentence, "Start again from the cohort."
	case codes.Unimplemented:
		out.Status, out.Heading = http.StatusMethodNotAllowed, "Read only"
		out.Sentence, out.Do = f.Sentence, "Go back to the cohort."
	case codes.PermissionDenied, codes.Unauthenticated:
		out.Status, out.Heading = http.StatusForbidden, "Not open to you"
		out.Sentence, out.Do = f.Sentence, "Ask whoever looks after the site for access."
	case codes.Unavailable, codes.DeadlineExceeded, codes.ResourceExhausted, codes.Aborted, codes.Canceled:
		out.Status, out.Heading = http.StatusServiceUnavailable, "The site is not answering just now"
		out.Sentence = "Nothing is lost: what was recorded stays recorded. The part of the site that keeps it is starting, busy or being put right."
		out.Do = "Wait a few seconds and load this page again. If it stays like this for some minutes, tell whoever looks after the site."
	default:
		out.Status, out.Heading = http.StatusInternalServerError, "This page could not be made"
		out.Sentence = "Something failed inside. Nothing was changed: these pages only read."
		out.Do = "Load the page again. If it fails again, tell whoever looks after the site; the log there says more."
	}
	return out
}

// failureDeadline is how long a page that says what failed waits for the programme's name.
const failureDeadline = 2 * time.Second

// fail answers with a worded page. It asks the roster only for what the frame needs and does without on a failure.
func (p *Pages) fail(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(r.Context().Err(), context.Canceled) {
		return // the reader left; there is nobody to answer
	}
	out := failure(err)
	if out.Status >= 500 {
		p.Log.Error("a page failed", "path", r.URL.Path, "error", err)
	}
	if out.Status == http.StatusServiceUnavailable {
		w.Header().Set("Retry-After", "5")
	}
	f := frame{Title: out.Heading, Main: out}
	if out.Status != http.StatusServiceUnavailable {
		ctx, done := context.WithTimeout(r.Context(), failureDeadline)
		defer done()
		p.describe(ctx, &f)
	}
	p.print(w, r, out.Status, "failure.html", f)
}
