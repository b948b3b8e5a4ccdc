package terminal

import (
	"context"
	"fmt"
	"slices"
	"strings"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/eye"
)

// debriefed are the measures a debrief compares before and after each decision, with the smallest change
// worth a word.
var debriefed = []struct {
	name  string
	least float64
}{
	{"chamber_depth_mm", 0.25},
	{"iop_mmhg", 6},
	{"dialysis_hours", 0.1},
	{"peak_load_ratio", 0.1},
	{"vitreous_in_chamber_ul", 0.5},
	{"vitreous_cut_ul", 0.5},
	{"traction_mns", 0.2},
	{"ovd_fill", 0.15},
	{"wobble", 0.2},
	{"offset_mm", 0.08},
	{"lens_left_ul", 5},
	{"endothelial_loss_pct", 1},
	{"rent_hazard", 0.01},
}

// debrief judges the drill and shows what was done, what it did, and why each level.
func (p *Player) debrief(ctx context.Context, d *drillv1.Drill) error {
	judged, err := p.Assessments.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "judge-" + d.GetDrillId(), DrillId: d.GetDrillId()})
	if err != nil {
		return err
	}
	recorded, err := p.Drills.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: d.GetDrillId()})
	if err != nil {
		return err
	}
	a := judged.GetAssessment()
	p.critical(a)
	p.decisions(recorded.GetTimeline())
	p.levels(a, p.reviewer(ctx, d))
	return nil
}

func (p *Player) critical(a *assessmentv1.Assessment) {
	if len(a.GetCriticalErrors()) == 0 {
		p.say("\n%s\n", p.Style.bold("No critical error was recorded."))
		return
	}
	p.say("\n%s\n", p.Style.bold("Critical errors (no average removes them; a supervisor may override one with a written reason)"))
	for _, e := range a.GetCriticalErrors() {
		p.say("%s\n", p.Style.fold(fmt.Sprintf("! decision %d, %s: %s. %s", e.GetDecision()+1, clock(e.GetAtS()), strings.TrimSuffix(e.GetTitle(), "."), e.GetReason()), "  "))
	}
}

func (p *Player) decisions(t *drillv1.Timeline) {
	p.say("\n%s\n", p.Style.bold("What each decision did to the eye"))
	before := t.GetOpening().GetAfter()
	for _, s := range t.GetSteps() {
		p.say("%s\n", p.Style.hang(fmt.Sprintf("%s (at %s, after %.1f s)", s.GetSay(), clock(s.GetThinking().GetEndS()), s.GetElapsedS()), fmt.Sprintf("%3d  ", s.GetIndex()+1)))
		p.happenings(s)
		if change := changes(t.GetMeasures(), before, s); change != "" {
			p.say("%s\n", p.Style.hang(change, "     eye:  "))
		}
		if stance := stanceWord(s.GetStance()); stance != "" {
			p.say("%s\n", p.Style.dim(p.Style.hang(strings.TrimSuffix(stance+": "+s.GetBecause(), ": "), "     view: ")))
		}
		before = s.GetDoing().GetAfter()
	}
}

// routine are marks that every step of a drill leaves and nobody asks about in a debrief; the pages list them.
var routine = map[string]bool{"irrigation-on": true, "irrigation-off": true, "aspiration-on": true, "aspiration-off": true, "ultrasound-on": true, "ultrasound-off": true, "placed": true}

// happenings lists what was seen, line by line, and what was done, on one.
func (p *Player) happenings(s *drillv1.Step) {
	var done []string
	for _, m := range slices.Concat(s.GetThinking().GetMarks(), s.GetDoing().GetMarks()) {
		switch {
		case m.GetOff(), routine[m.GetName()]:
		case findings[m.GetName()]:
			p.say("%s\n", p.Style.hang(clock(m.GetAtS())+" "+happened(m), "     seen: "))
		default:
			done = append(done, happened(m))
		}
	}
	if len(done) > 0 {
		p.say("%s\n", p.Style.hang(strings.Join(done, " · "), "     done: "))
	}
}

// changes says what the decision, with the thinking before it, changed in the eye.
func changes(names []string, before []float64, s *drillv1.Step) string {
	after := s.GetDoing().GetAfter()
	var parts []string
	for _, c := range debriefed {
		i := slices.Index(names, c.name)
		if i < 0 || i >= len(before) || i >= len(after) {
			continue
		}
		lowest := min(after[i], before[i], low(s.GetThinking(), i), low(s.GetDoing(), i))
		m := measureNamed(c.name)
		switch {
		case c.name == "chamber_depth_mm" && lowest < min(before[i], after[i])-c.least:
			parts = append(parts, fmt.Sprintf("%s %s, down to %s, then %s %s", plainName(m.Name, m.Unit), figure(before[i]), figure(lowest), figure(after[i]), m.Unit))
		case after[i]-before[i] >= c.least || before[i]-after[i] >= c.least:
			name, was, unit := inWords(m, before[i])
			_, is, _ := inWords(m, after[i])
			parts = append(parts, strings.TrimSpace(fmt.Sprintf("%s %s to %s %s", name, was, is, unit)))
		}
	}
	return strings.Join(parts, " · ")
}

// low gives the lowest value of measure i in a segment.
func low(seg *drillv1.Segment, i int) float64 {
	if k := slices.Index(seg.GetLow().GetMeasures(), uint32(i)); k >= 0 {
		return seg.GetLow().GetValues()[k]
	}
	if i < len(seg.GetAfter()) {
		return seg.GetAfter()[i]
	}
	return 0
}

func measureNamed(name string) eye.MeasureInfo {
	if i, ok := eye.MeasureIndex(name); ok {
		return eye.MeasureTable()[i]
	}
	return eye.MeasureInfo{Name: name}
}

func stanceWord(s drillv1.Stance) string {
	return map[drillv1.Stance]string{
		drillv1.Stance_STANCE_PREFERRED:  "preferred",
		drillv1.Stance_STANCE_ACCEPTABLE: "acceptable with a reason",
		drillv1.Stance_STANCE_SUBOPTIMAL: "costs something",
		drillv1.Stance_STANCE_HARMFUL:    "harmful",
		drillv1.Stance_STANCE_CRITICAL:   "critical",
	}[s]
}

// reviewer says which clinician reviewed the scenario; in most, none yet.
func (p *Player) reviewer(ctx context.Context, d *drillv1.Drill) string {
	v, err := p.Scenarios.GetScenario(ctx, &scenariov1.GetScenarioRequest{Which: &scenariov1.GetScenarioRequest_Digest{Digest: d.GetDigest()}})
	if err != nil {
		return "not known"
	}
	return v.GetVersion().GetReviewedBy()
}

func (p *Player) levels(a *assessmentv1.Assessment, reviewer string) {
	p.say("\n%s\n", p.Style.bold("Levels by the written standard, 1 to 5"))
	p.say("%s\n", p.Style.dim(p.Style.fold(fmt.Sprintf("rubric %s · approved by: %s · scenario reviewed by a clinician: %s", a.GetRubric(), a.GetApprovedBy(), reviewer), "  ")))
	for _, m := range a.GetMarks() {
		level := fmt.Sprint(m.GetLevel())
		if m.GetLevel() == 0 {
			level = "not shown"
		}
		p.say("  %s %s: %s\n", p.Style.bold(fmt.Sprintf("%-3s", m.GetCriterion())), m.GetTitle(), p.Style.bold(level))
		if m.GetLevel() > 0 {
			p.say("%s\n", p.Style.fold(m.GetAnchor(), "      "))
		}
		p.say("%s\n", p.Style.fold("Why: "+m.GetReason(), "      "))
	}
	p.say("\n%s\n%s\n", p.Style.fold(fmt.Sprintf("Mean of the levels shown: %.1f, beside %d critical errors. It passes and fails nobody.", a.GetMeanLevel(), len(a.GetCriticalErrors())), "  "),
		p.Style.dim(p.Style.fold(Cautions, "  ")))
}
