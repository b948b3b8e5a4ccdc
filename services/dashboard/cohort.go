package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"net/url"

	progressv1 "zonule/proto/gen/zonule/progress/v1"
)

// cohortPageSize is how many trainees one page shows.
const cohortPageSize = 50

// cohortPage lists trainees in the order of their ids.
type cohortPage struct {
	Columns []competency
	Rows    []cohortRow
	Later   bool   // true when it is not the first page
	Next    string // address of the next page; empty on the last
}

// cohortRow is one trainee. It holds no total over competencies.
type cohortRow struct {
	ID, Name, Href string
	Drills         uint32
	Last           moment
	Cells          []cell
	Key, Value     string
}

func (p *Pages) cohort(ctx context.Context, r *http.Request, f *frame) (cohortPage, error) {
	after := r.URL.Query().Get("after")
	got, err := p.Progress.ListCohort(ctx, &progressv1.ListCohortRequest{PageSize: cohortPageSize, PageToken: after})
	if err != nil {
		return cohortPage{}, err
	}
	f.Title = "Cohort"
	out := cohortPage{Columns: competencies, Later: after != ""}
	for _, m := range got.GetMembers() {
		out.Rows = append(out.Rows, rowOf(m))
	}
	if next := got.GetNextPageToken(); next != "" {
		out.Next = "/?" + url.Values{"after": {next}}.Encode()
	}
	return out, nil
}

func rowOf(m *progressv1.CohortMember) cohortRow {
	row := m.GetRow()
	out := cohortRow{
		ID: m.GetPersonId(), Name: named(m.GetDisplayName()), Href: traineeAddress(m.GetPersonId(), ""),
		Drills: row.GetDrills(), Last: momentOf(row.GetLastAt()), Cells: cells(m),
		Key: key("trainee", m.GetPersonId()), Value: decimal(row.GetDrills()),
	}
	return out
}

// cells gives all ten competencies, shown or not.
func cells(m *progressv1.CohortMember) []cell {
	standing := map[string]*progressv1.Standing{}
	for _, s := range m.GetRow().GetStandings() {
		standing[s.GetCriterion()] = s
	}
	out := make([]cell, len(competencies))
	for i, c := range competencies {
		s := standing[c.ID]
		if s.GetTitle() != "" {
			c.Title = capital(s.GetTitle())
		}
		level := s.GetLastLevel()
		out[i] = cell{
			competency: c, Shown: s.GetShown() > 0, Level: level,
			Count: s.GetShown(), Critical: s.GetCriticalErrors(), Href: traineeAddress(m.GetPersonId(), c.ID),
			Key: key("cell", m.GetPersonId(), c.ID), Value: fmt.Sprintf("%d/%d/%d", level, s.GetShown(), s.GetCriticalErrors()),
		}
	}
	return out
}

// traineeAddress gives the address of a trainee's page, at a competency when one is given.
func traineeAddress(id, competency string) string {
	out := "/trainees/" + url.PathEscape(id)
	if competency != "" {
		out += "?" + url.Values{"c": {competency}}.Encode()
	}
	return out
}

func drillAddress(id string) string { return "/drills/" + url.PathEscape(id) }
