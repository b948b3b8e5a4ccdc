package terminal

import (
	"fmt"
	"strings"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
)

// opening heads the drill.
func (p *Player) opening(d *drillv1.Drill, reviewer string) {
	st := p.Style
	p.say("\n%s\n%s\n%s\n", st.rule(), st.bold(d.GetShownAs()), st.dim(st.fold(Cautions, "")))
	p.say("%s\n", st.dim(fmt.Sprintf("Scenario reviewed by a clinician: %s. Drill %s · %s · seed %d", reviewer, d.GetDrillId(), d.GetPersonId(), d.GetSeed())))
}

// scene shows what the surgeon sees now.
func (p *Player) scene(d *drillv1.Drill, s *drillv1.Scene) {
	st := p.Style
	p.say("\n%s\n", st.rule())
	p.say("%s\n\n", st.dim(fmt.Sprintf("decision %d · %s · %s", s.GetIndex()+1, clock(d.GetSeconds()), s.GetOrientation())))
	p.say("%s\n", st.bold(st.fold(s.GetCue(), "  ")))
	for _, f := range s.GetFindings() {
		if !strings.Contains(s.GetCue(), f) { // the cue often says it already
			p.say("%s\n", st.fold("- "+f, "  "))
		}
	}
	p.say("\n%s\n%s\n\n", st.hang(readings(s.GetMachine()), "  machine  "), st.hang(readings(s.GetEye()), "  eye      "))
	for i, c := range s.GetChoices() {
		p.say("  %s  %s\n", st.bold(fmt.Sprint(i+1)), c.GetSay())
	}
	keys := fmt.Sprintf("1-%d decide · b break off", len(s.GetChoices()))
	if s.GetFreeHands() {
		keys = fmt.Sprintf("1-%d decide · f free hands · ? palette · b break off", len(s.GetChoices()))
	}
	p.say("\n  %s\n", st.dim(keys))
}

// unshown are measures that a person at the bench knows without being told, or that say nothing by themselves.
var unshown = map[string]bool{"time_s": true, "nearness": true, "tip_in_eye": true}

// absent are measures that say nothing while they are zero: what has not been put into the eye.
var absent = map[string]bool{"hooks": true, "segments": true, "air_fill": true}

// spoken names measures whose own name is not how they are spoken of. The second word, when there is one,
// stands for the unit, and the value is shown times the scale.
var spoken = map[string]struct {
	name, unit string
	scale      float64
}{
	"cde":      {"energy spent (CDE)", "", 1},
	"power":    {"power", "%", 100},
	"ovd_fill": {"viscoelastic fill", "%", 100},
	"iop_mmhg": {"pressure", "mmHg", 1},
	"wobble":   {"lens wobble", "", 1},
}

// readings writes measures in the eye's own order, with their units; what is off or absent is left out.
func readings(values map[string]float64) string {
	var parts []string
	for _, m := range eye.MeasureTable() {
		v, ok := values[m.Name]
		switch {
		case !ok, unshown[m.Name], m.Bool && v == 0, v == 0 && absent[m.Name]:
		case m.Bool:
			parts = append(parts, plainName(m.Name, ""))
		default:
			parts = append(parts, reading(m, v))
		}
	}
	return strings.Join(parts, " · ")
}

// reading writes one measure: name, value, unit.
func reading(m eye.MeasureInfo, v float64) string {
	name, value, unit := inWords(m, v)
	return strings.TrimSpace(name + " " + value + " " + unit)
}

// inWords gives a measure's spoken name, its value and its unit.
func inWords(m eye.MeasureInfo, v float64) (name, value, unit string) {
	if s, ok := spoken[m.Name]; ok {
		return s.name, figure(v * s.scale), s.unit
	}
	return plainName(m.Name, m.Unit), figure(v), m.Unit
}

func figure(v float64) string {
	switch {
	case v == float64(int64(v)):
		return fmt.Sprintf("%.0f", v)
	case v >= 100 || v <= -100:
		return fmt.Sprintf("%.0f", v)
	case v >= 10 || v <= -10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

// plainName drops the unit that a measure's name carries: chamber_depth_mm -> chamber depth.
func plainName(name, unit string) string {
	suffix := "_" + strings.ToLower(strings.NewReplacer("/", "_", " ", "", "·", "").Replace(unit))
	if unit != "" {
		name = strings.TrimSuffix(name, suffix)
	}
	return strings.ReplaceAll(name, "_", " ")
}

// drawClock redraws the waiting line for a person who watches.
func (p *Player) drawClock(elapsed, limit float64) {
	if !p.In.Live() {
		return
	}
	text := clock(elapsed)
	if limit > 0 {
		text += " of " + clock(limit)
	}
	p.say("\r  %s  ", p.Style.bold(text))
}

// answered shows what could be seen while the decision was done.
func (p *Player) answered(r *drillv1.DecideResponse) {
	if r.GetRefused() != "" {
		p.say("\n%s\n", p.Style.fold("The eye would not take it: "+r.GetRefused(), "  "))
	}
	for _, m := range r.GetSeen() {
		p.say("%s\n", p.Style.hang(happened(m), "  > "))
	}
}

// findings are the ids of what a surgeon sees; every other mark is something done.
var findings = func() map[string]bool {
	ids := map[string]bool{}
	for _, f := range eye.Findings() {
		ids[f.ID] = true
	}
	return ids
}()

// happened says a mark in words: a finding by its text, anything done by its name with what it was.
func happened(m *drillv1.Mark) string {
	name := strings.ReplaceAll(m.GetName(), "-", " ")
	switch {
	case m.GetOff():
		return "no longer: " + name
	case findings[m.GetName()] && m.GetText() != "":
		return m.GetText()
	case m.GetText() != "":
		return name + ": " + m.GetText()
	}
	return name
}

// ended shows the last scene.
func (p *Player) ended(s *drillv1.Scene) {
	p.say("\n%s\n%s\n", p.Style.rule(), p.Style.bold(p.Style.fold(s.GetEnding(), "")))
}
