package dashboard

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"google.golang.org/grpc/codes"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	"zonule/services/fault"
)

const (
	heartbeat    = 15 * time.Second // between comment lines that keep the connection open
	writeLimit   = 10 * time.Second // for one write to a browser
	retryAfterMs = 2000             // a browser waits this long before it connects again
)

var errTooMany = fault.New(codes.ResourceExhausted, "TOO_MANY_BROWSERS", "Too many pages are open at once. Close some and load this page again.")

// told is the data of an event.
type told struct {
	Place  string `json:"place"`
	Drill  string `json:"drill,omitempty"`
	Person string `json:"person,omitempty"`
}

// serveLive sends server-sent events until the reader leaves or the pages close: "place" at once, with where the feed
// stands (a page that was made at another place reads itself anew), then "assessed" for each drill assessed and
// "behind" when some were dropped. They carry ids only; what is shown comes from the pages.
func (p *Pages) serveLive(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodHead {
		w.Header().Set("Content-Type", "text/event-stream")
		return
	}
	b, place, ok := p.live.join()
	if !ok {
		p.fail(w, r, errTooMany)
		return
	}
	defer p.live.leave(b)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // a proxy in front must not hold events back
	out := http.NewResponseController(w)
	send := func(text string) bool {
		_ = out.SetWriteDeadline(time.Now().Add(writeLimit)) // not every writer has deadlines; the write is tried all the same
		if _, err := w.Write([]byte(text)); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	if !send(fmt.Sprintf("retry: %d\n\n", retryAfterMs) + event("place", told{Place: place})) {
		return
	}
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-beat.C:
			if !send(": still here\n\n") {
				return
			}
		case <-b.wake:
			now, more := p.live.take(b)
			text := ""
			for _, n := range now {
				text += n.event()
			}
			if text != "" && !send(text) || !more {
				return
			}
		}
	}
}

// event words a notice. An entry whose payload cannot be read still says that something happened.
func (n notice) event() string {
	var assessed assessmentv1.DrillAssessed
	if n.entry == nil || n.entry.GetPayload().UnmarshalTo(&assessed) != nil {
		return event("behind", told{Place: n.place})
	}
	a := assessed.GetAssessment()
	return event("assessed", told{Place: n.place, Drill: a.GetDrillId(), Person: a.GetPersonId()})
}

// event writes one server-sent event. JSON keeps its data on one line.
func event(name string, data told) string {
	body, _ := json.Marshal(data) // a struct of strings always marshals
	return fmt.Sprintf("event: %s\nid: %s\ndata: %s\n\n", name, data.Place, body)
}
