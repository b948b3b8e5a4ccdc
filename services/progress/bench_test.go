package progress

import (
	"fmt"
	"slices"
	"testing"
	"time"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/ledger"
)

// BenchmarkCohort measures a page of 50 out of 10,000 trainees, each with a standing in every competency. They have no
// names: sealing ten thousand would rewrite the key file as often.
func BenchmarkCohort(b *testing.B) {
	s := start(b)
	const trainees, run = 10_000, 250
	for from := 0; from < trainees; from += run {
		_, err := s.ledger.Append(ctx, ledger.Command{Actor: "bench", Decide: func(ledger.Reader) ([]ledger.Event, error) {
			var events []ledger.Event
			for i := from; i < from+run; i++ {
				id := fmt.Sprintf("trainee-%05d", i)
				a := &assessmentv1.Assessment{DrillId: "d-" + id, PersonId: id}
				for c := range 10 {
					a.Marks = append(a.Marks, &assessmentv1.Mark{Criterion: fmt.Sprintf("C%d", c+1), Title: "title", Level: int32(1 + (i+c)%5)})
				}
				events = append(events, ledger.Event{Subject: id, Payload: &rosterv1.PersonEnrolled{PersonId: id, Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}}},
					ledger.Event{Subject: a.GetDrillId(), Payload: &assessmentv1.DrillAssessed{Assessment: a}})
			}
			return events, nil
		}})
		if err != nil {
			b.Fatal(err)
		}
	}
	var took []time.Duration
	token := ""
	for b.Loop() {
		began := time.Now()
		resp, err := s.client.ListCohort(ctx, &progressv1.ListCohortRequest{PageSize: 50, PageToken: token})
		if err != nil || len(resp.GetMembers()) != 50 {
			b.Fatal(len(resp.GetMembers()), err)
		}
		took = append(took, time.Since(began))
		token = resp.GetNextPageToken()
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
}
