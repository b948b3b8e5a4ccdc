package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"net/url"

	"google.golang.org/grpc/codes"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	"zonule/services/fault"
)

// traineeDrills is how many drills one page of a trainee lists.
const traineeDrills = 50

// traineePage is where one trainee stands, and one competency in full.
type traineePage struct {
	ID, Name string
	Drills   uint32
	Last     moment
	Cells    []standingCell
	Chosen   curveView
	List     []drillRow
	Later    bool
	Next     string
	First    string
}

// standingCell is a competency to choose, with what its chart says.
type standingCell struct {
	cell
	Chosen bool
	Met    uint32
	Signal uint32
}

// drillRow is one drill in a list.
type drillRow struct {
	ID, Href, Shown, Variant, State, Ending string
	Started                                 moment
	Decisions                               uint32
	Seconds                                 string
	ClockOff                                bool
}

func (p *Pages) trainee(ctx context.Context, r *http.Request, f *frame) (traineePage, error) {
	id, query := r.PathValue("id"), r.URL.Query()
	chosen := query.Get("c")
	if chosen != "" && !isCompetency(chosen) {
		return traineePage{}, fault.New(codes.InvalidArgument, "NO_SUCH_COMPETENCY", "The address asks for a competency that does not exist; they are C1 to C10.")
	}
	got, err := p.Progress.GetTrainee(ctx, &progressv1.GetTraineeRequest{PersonId: id})
	if err != nil {
		return traineePage{}, err
	}
	m := got.GetMember()
	out := traineePage{ID: m.GetPersonId(), Name: named(m.GetDisplayName()), Drills: m.GetRow().GetDrills(), Last: momentOf(m.GetRow().GetLastAt())}
	f.Title, f.Watches = out.Name, out.ID
	f.Trail = []crumb{{"Cohort", "/"}}
	if chosen == "" {
		chosen = firstShown(m.GetRow())
	}
	out.Cells = standingCells(m, chosen)
	curve, err := p.Progress.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: id, Criterion: chosen})
	if err != nil {
		return traineePage{}, err
	}
	if out.Chosen, err = curveOf(curve, out.Name); err != nil {
		return traineePage{}, err
	}
	return out, p.listDrills(ctx, &out, chosen, query.Get("drills"))
}

// firstShown chooses the first competency that any drill showed: a choice that stays when the next drill arrives.
func firstShown(row *progressv1.TraineeRow) string {
	shown := map[string]bool{}
	for _, s := range row.GetStandings() {
		shown[s.GetCriterion()] = s.GetShown() > 0
	}
	for _, c := range competencies {
		if shown[c.ID] {
			return c.ID
		}
	}
	return competencies[0].ID
}

func standingCells(m *progressv1.CohortMember, chosen string) []standingCell {
	standing := map[string]*progressv1.Standing{}
	for _, s := range m.GetRow().GetStandings() {
		standing[s.GetCriterion()] = s
	}
	var out []standingCell
	for _, c := range cells(m) {
		s := standing[c.ID]
		out = append(out, standingCell{cell: c, Chosen: c.ID == chosen, Met: s.GetMet(), Signal: s.GetSignalAt()})
	}
	return out
}

func (p *Pages) listDrills(ctx context.Context, out *traineePage, chosen, token string) error {
	got, err := p.Drill.ListDrills(ctx, &drillv1.ListDrillsRequest{PersonId: out.ID, PageSize: traineeDrills, PageToken: token})
	if err != nil {
		return err
	}
	for _, d := range got.GetDrills() {
		out.List = append(out.List, drillRowOf(d))
	}
	address := func(token string) string {
		q := url.Values{"c": {chosen}}
		if token != "" {
			q.Set("drills", token)
		}
		return "/trainees/" + url.PathEscape(out.ID) + "?" + q.Encode() + "#drills"
	}
	if token != "" {
		out.Later, out.First = true, address("")
	}
	if next := got.GetNextPageToken(); next != "" {
		out.Next = address(next)
	}
	return nil
}

func drillRowOf(d *drillv1.Drill) drillRow {
	return drillRow{
		ID: d.GetDrillId(), Href: drillAddress(d.GetDrillId()), Shown: d.GetShownAs(), Variant: plain(d.GetVariant()),
		State: stateWords(d), Ending: endingWords(d.GetEnding(), d.GetSafe()), Started: momentOf(d.GetStartedAt()),
		Decisions: d.GetDecisions(), Seconds: seconds(d.GetSeconds()), ClockOff: d.GetClockOff(),
	}
}

func stateWords(d *drillv1.Drill) string {
	switch d.GetState() {
	case drillv1.DrillState_DRILL_STATE_RUNNING:
		return "running"
	case drillv1.DrillState_DRILL_STATE_ENDED:
		return "ended"
	case drillv1.DrillState_DRILL_STATE_ABANDONED:
		return "abandoned, not judged"
	}
	return "unknown"
}

func endingWords(ending string, safe bool) string {
	if ending == "" {
		return ""
	}
	if safe {
		return fmt.Sprintf("%s (a safe ending)", plain(ending))
	}
	return fmt.Sprintf("%s (not a safe ending)", plain(ending))
}
