package main

import (
	"context"
	"fmt"

	"zonule/cmd/zonule/site"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

// summarise prints people, drills, marks and curves in order of ids, and checks the ledger last.
func summarise(ctx context.Context, sh *shell, s *site.Site) error {
	persons, err := s.Clients.Roster.ListPersons(ctx, &rosterv1.ListPersonsRequest{PageSize: 500})
	if err != nil {
		return err
	}
	cohort, err := s.Clients.Progress.ListCohort(ctx, &progressv1.ListCohortRequest{PageSize: 200})
	if err != nil {
		return err
	}
	drills, marks, critical := tally(cohort.GetMembers())
	fmt.Fprintf(sh.out, "\npeople: %d (all invented)   drills assessed: %d   marks: %d   critical errors: %d\n", len(persons.GetPersons()), drills, marks, critical)
	fmt.Fprintln(sh.out, "\ntrainee      drills  last level, C1 to C10 (0: not shown)  C4 chooses and orders the steps: share at the standard, curve, chart")
	for _, m := range cohort.GetMembers() {
		if m.GetRow().GetDrills() == 0 {
			continue
		}
		curve, err := s.Clients.Progress.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: m.GetPersonId(), Criterion: "C4"})
		if err != nil {
			return err
		}
		fmt.Fprintf(sh.out, "%-12s %6d  %-37s  %s\n", m.GetPersonId(), m.GetRow().GetDrills(), lastLevels(m.GetRow()), inWords(curve))
	}
	fmt.Fprintln(sh.out, "\nThe list is in order of ids. Nobody is ranked; nobody is passed or failed.")
	ok, err := checkLedger(ctx, sh, s.Ledger)
	if err == nil && !ok {
		return errSaid
	}
	return err
}

func tally(members []*progressv1.CohortMember) (drills, marks, critical uint32) {
	for _, m := range members {
		drills += m.GetRow().GetDrills()
		critical += m.GetRow().GetCriticalErrors()
		for _, st := range m.GetRow().GetStandings() {
			marks += st.GetShown()
		}
	}
	return drills, marks, critical
}

func lastLevels(r *progressv1.TraineeRow) string {
	levels := map[string]int32{}
	for _, st := range r.GetStandings() {
		levels[st.GetCriterion()] = st.GetLastLevel()
	}
	text := ""
	for i := 1; i <= 10; i++ {
		text += fmt.Sprintf("%d  ", levels[fmt.Sprintf("C%d", i)])
	}
	return text
}

// inWords says what can be said of a curve, and no more.
func inWords(c *progressv1.GetCurveResponse) string {
	i := c.GetInterval()
	text := fmt.Sprintf("%d of %d (exact 95 %% %.2f to %.2f)", i.GetMet(), i.GetOf(), i.GetExactLow(), i.GetExactHigh())
	if f := c.GetFit(); f.GetNotYet() != "" {
		text += "; curve: " + f.GetNotYet()
	} else {
		text += fmt.Sprintf("; plateau %.1f (SE %.1f)", f.GetPlateau(), f.GetPlateauSe())
	}
	if at := c.GetChart().GetSignalAt(); at > 0 {
		return text + fmt.Sprintf("; chart signals at drill %d", at)
	}
	return text + "; chart has not signalled"
}
