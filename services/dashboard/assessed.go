package dashboard

import (
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
)

// assessed is the judgement of a drill, critical errors first.
type assessed struct {
	Rubric, Approved string
	At               moment
	Critical         []criticalView
	Marks            []markView
}

type criticalView struct {
	Title, Reason, At string
	Anchor            string // of the decision; empty when it belongs to none
	Decision          uint32
	Caps              []competency
}

type markView struct {
	competency
	Shown    bool
	Level    int32
	Anchor   string // the behaviour the level stands for
	Reason   string
	Rule     string
	CappedBy string
	Evidence []evidenceView
}

type evidenceView struct {
	Text, At, Value string
	Href            string // of the decision; empty when it belongs to the whole drill
	Decision        uint32
}

// assessedOf words an assessment, and ties its critical errors to the decisions they belong to.
func assessedOf(a *assessmentv1.Assessment, steps []stepView) *assessed {
	out := &assessed{Rubric: a.GetRubric(), Approved: a.GetApprovedBy(), At: momentOf(a.GetAssessedAt())}
	titles := map[string]string{}
	for _, e := range a.GetCriticalErrors() {
		titles[e.GetId()] = capital(e.GetTitle())
		c := criticalView{Title: capital(e.GetTitle()), Reason: stop(e.GetReason()), At: atSecond(e.GetAtS())}
		for i := range steps {
			if int64(steps[i].Index) == int64(e.GetDecision()) {
				steps[i].CriticalHere = append(steps[i].CriticalHere, capital(e.GetTitle()))
				c.Anchor, c.Decision = steps[i].Anchor, steps[i].Number
			}
		}
		for _, id := range e.GetCaps() {
			c.Caps = append(c.Caps, competencyOf(id, ""))
		}
		out.Critical = append(out.Critical, c)
	}
	for _, m := range a.GetMarks() {
		out.Marks = append(out.Marks, markOf(m, titles, steps))
	}
	return out
}

func markOf(m *assessmentv1.Mark, titles map[string]string, all []stepView) markView {
	out := markView{
		competency: competencyOf(m.GetCriterion(), m.GetTitle()), Shown: m.GetLevel() > 0, Level: m.GetLevel(),
		Anchor: m.GetAnchor(), Reason: stop(m.GetReason()), Rule: m.GetRule(), CappedBy: titles[m.GetCappedBy()],
	}
	if out.CappedBy == "" {
		out.CappedBy = plain(m.GetCappedBy())
	}
	for _, e := range m.GetEvidence() {
		one := evidenceView{Text: e.GetText(), At: atSecond(e.GetAtS())}
		if one.Text == "" {
			one.Text = plain(e.GetName())
		}
		if e.Value != nil {
			one.Value = evidenceValue(e.GetValue(), e.GetUnit())
		}
		for _, s := range all {
			if int64(s.Index) == int64(e.GetDecision()) {
				one.Href, one.Decision = "#"+s.Anchor, s.Number
			}
		}
		out.Evidence = append(out.Evidence, one)
	}
	return out
}

// atSecond words a second on the drill's clock; -1 stands for the whole drill and gives nothing.
func atSecond(s float64) string {
	if s == -1 {
		return ""
	}
	return seconds(s)
}

// competencyOf names a competency, by the rubric's own title when it has one.
func competencyOf(id, title string) competency {
	out := competency{ID: id, Title: title}
	for _, c := range competencies {
		if c.ID == id {
			out = c
		}
	}
	if title != "" {
		out.Title = capital(title)
	}
	return out
}
