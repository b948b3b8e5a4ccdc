package dashboard

import (
	"context"
	"net/http"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/fault"
)

// debriefPage is one drill: what was judged, what each decision did to the eye, and the traces.
type debriefPage struct {
	ID, Person, Name, PersonHref string
	Shown, Variant, Bench        string
	Complication, Reviewed       string // of the version played; empty when it is not kept here
	Normal                       bool
	State, Ending                string
	Safe, Over, ClockOff         bool
	Started                      moment
	Seconds                      string
	Decisions                    uint32
	Scenario, Digest, Model      string
	Seed                         uint64

	Assessed *assessed
	Traces   []traceView
	Opening  []seen
	Steps    []stepView
}

func (p *Pages) debrief(ctx context.Context, r *http.Request, f *frame) (debriefPage, error) {
	id := r.PathValue("id")
	got, err := p.Drill.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: id})
	if err != nil {
		return debriefPage{}, err
	}
	out := drillFacts(got.GetDrill())
	f.Watches = out.ID
	if err := p.whoPlayed(ctx, &out); err != nil {
		return debriefPage{}, err
	}
	f.Title = "Drill of " + out.Name + ": " + out.Shown
	f.Trail = []crumb{{"Cohort", "/"}, {out.Name, out.PersonHref}}
	if !out.Over {
		return out, nil
	}
	if err := p.whatWasPlayed(ctx, &out); err != nil {
		return debriefPage{}, err
	}
	line, err := p.Drill.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: id})
	if err != nil {
		return debriefPage{}, err
	}
	out.Opening, out.Steps = stepsOf(line.GetTimeline())
	if out.Traces, err = tracesOf(line.GetTimeline()); err != nil {
		return debriefPage{}, err
	}
	judged, err := p.Assessment.GetAssessment(ctx, &assessmentv1.GetAssessmentRequest{DrillId: id})
	switch {
	case err == nil:
		out.Assessed = assessedOf(judged.GetAssessment(), out.Steps)
	case fault.Reason(err) != "NOT_ASSESSED":
		return debriefPage{}, err
	}
	return out, nil
}

func drillFacts(d *drillv1.Drill) debriefPage {
	return debriefPage{
		ID: d.GetDrillId(), Person: d.GetPersonId(), PersonHref: traineeAddress(d.GetPersonId(), ""), Shown: d.GetShownAs(), Variant: plain(d.GetVariant()), Bench: d.GetBench(),
		State: stateWords(d), Ending: endingWords(d.GetEnding(), d.GetSafe()), Safe: d.GetSafe(), Over: d.GetState() != drillv1.DrillState_DRILL_STATE_RUNNING,
		ClockOff: d.GetClockOff(), Started: momentOf(d.GetStartedAt()), Seconds: seconds(d.GetSeconds()), Decisions: d.GetDecisions(),
		Scenario: d.GetScenarioId(), Digest: d.GetDigest(), Model: d.GetModel(), Seed: d.GetSeed(),
	}
}

// whoPlayed finds the trainee's name. A person who is not on the roster (any more) is named by id.
func (p *Pages) whoPlayed(ctx context.Context, out *debriefPage) error {
	got, err := p.Roster.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: out.Person})
	if fault.Reason(err) == "NO_SUCH_PERSON" {
		out.Name = out.Person
		return nil
	}
	out.Name = named(got.GetPerson().GetDisplayName())
	return err
}

// whatWasPlayed finds what was hidden from the trainee, in the very version that was played.
func (p *Pages) whatWasPlayed(ctx context.Context, out *debriefPage) error {
	got, err := p.Scenario.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_Digest{Digest: out.Digest}})
	if fault.Reason(err) == "NO_SUCH_SCENARIO" {
		return nil
	}
	v := got.GetVersion()
	out.Complication, out.Reviewed, out.Normal = plain(v.GetComplication()), v.GetReviewedBy(), v.GetNormal()
	return err
}
