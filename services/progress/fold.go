package progress

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"zonule/assessor/cusum"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	"zonule/services/ledger"
)

// viewName names the view and is part of its keys in the store.
const viewName = "progress"

// Spaces of the view's keys.
const (
	spaceTrainees = "t/" // then the trainee's id: TraineeRow
	spaceSeries   = "c/" // then the trainee's id and the criterion: SeriesRow
	spacePoints   = "p/" // then the trainee's id, the criterion and the number: Point
)

func traineeKey(person string) string           { return spaceTrainees + person }
func seriesKey(person, criterion string) string { return spaceSeries + person + "/" + criterion }
func pointSpace(person, criterion string) string {
	return spacePoints + person + "/" + criterion + "/"
}

func pointKey(person, criterion string, number uint32) string {
	return fmt.Sprintf("%s%08d", pointSpace(person, criterion), number)
}

type view struct {
	settings Settings
	chart    cusum.Chart
}

// View is the fold of the assessments into series. Its rows depend on the settings, so other settings make another
// version of it. It is an error when the settings cannot be.
func View(s Settings) (ledger.View, error) {
	chart, err := s.chart()
	if err != nil {
		return nil, err
	}
	return view{s, chart}, nil
}

func (view) Name() string { return viewName }

// foldVersion is to be raised whenever the fold changes.
const foldVersion = 1

func (v view) Version() uint32 { return v.settings.version() + foldVersion }

func (v view) Fold(w ledger.Writer, e *ledgerv1.Entry, payload proto.Message) error {
	event, ok := payload.(*assessmentv1.DrillAssessed)
	if !ok {
		return nil
	}
	a := event.GetAssessment()
	row := &progressv1.TraineeRow{}
	if _, err := w.Get(viewName, traineeKey(a.GetPersonId()), row); err != nil {
		return err
	}
	row.PersonId, row.LastAt = a.GetPersonId(), e.GetRecordedAt()
	row.Drills++
	row.CriticalErrors += uint32(len(a.GetCriticalErrors()))
	for _, mark := range a.GetMarks() {
		if mark.GetLevel() == 0 {
			continue // the drill did not show it: no point of the series
		}
		if err := v.foldMark(w, e, a, mark, row); err != nil {
			return err
		}
	}
	return w.Put(viewName, traineeKey(row.GetPersonId()), row)
}

// foldMark adds a point to the series of a competency and brings its standing up to date.
func (v view) foldMark(w ledger.Writer, e *ledgerv1.Entry, a *assessmentv1.Assessment, mark *assessmentv1.Mark, row *progressv1.TraineeRow) error {
	standing := standingOf(row, mark)
	errors := erring(a, mark.GetCriterion())
	meets := int(mark.GetLevel()) >= v.settings.StandardLevel && len(errors) == 0
	standing.Title, standing.LastLevel, standing.LastAt = mark.GetTitle(), mark.GetLevel(), e.GetRecordedAt()
	standing.Shown++
	standing.CriticalErrors += uint32(len(errors))
	if meets {
		standing.Met++
	}
	series := &progressv1.SeriesRow{}
	if _, err := w.Get(viewName, seriesKey(a.GetPersonId(), mark.GetCriterion()), series); err != nil {
		return err
	}
	series.Missed = append(series.Missed, !meets)
	if standing.GetSignalAt() == 0 {
		standing.SignalAt = uint32(v.chart.Follow(series.GetMissed()).Signal)
	}
	if err := w.Put(viewName, seriesKey(a.GetPersonId(), mark.GetCriterion()), series); err != nil {
		return err
	}
	return w.Put(viewName, pointKey(a.GetPersonId(), mark.GetCriterion(), standing.GetShown()), &progressv1.Point{
		Number: standing.GetShown(), DrillId: a.GetDrillId(), ScenarioId: a.GetScenarioId(), Variant: a.GetVariant(),
		Level: mark.GetLevel(), Meets: meets, CriticalErrors: errors, At: e.GetRecordedAt(),
	})
}

// standingOf finds the standing in a competency, or adds one in the order C1 to C10.
func standingOf(row *progressv1.TraineeRow, mark *assessmentv1.Mark) *progressv1.Standing {
	at, found := slices.BinarySearchFunc(row.GetStandings(), mark.GetCriterion(), func(s *progressv1.Standing, c string) int {
		return order(s.GetCriterion()) - order(c)
	})
	if !found {
		row.Standings = slices.Insert(row.GetStandings(), at, &progressv1.Standing{Criterion: mark.GetCriterion()})
	}
	return row.GetStandings()[at]
}

// order is the place of a criterion: its number.
func order(criterion string) int {
	n := 0
	for _, c := range criterion {
		if c >= '0' && c <= '9' {
			n = 10*n + int(c-'0')
		}
	}
	return n
}

// erring lists the critical errors that bear on a criterion.
func erring(a *assessmentv1.Assessment, criterion string) []string {
	var ids []string
	for _, e := range a.GetCriticalErrors() {
		if slices.Contains(e.GetCaps(), criterion) {
			ids = append(ids, e.GetId())
		}
	}
	return ids
}
