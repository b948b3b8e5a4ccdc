package terminal

import (
	"fmt"
	"strings"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
	"zonule/scenarios/eye"
)

// opening heads the drill.
func (p *Player) opening(d *drillv1.Drill) {
	st := p.Style
	p.say("\n%s\n%s\n%s\n", st.rule(), st.bold(d.GetShownAs()), st.dim(st.fold(Cautions, "")))
	p.say("%s\n", st.dim(fmt.Sprintf("drill %s · %s · seed %d", d.GetDrillId(), d.GetPersonId(), d.GetSeed())))
}

// scene shows what the surgeon sees now.
func (p *Player) scene(d *drillv1.Drill, s *drillv1.Scene) {
	st := p.Style
	p.say("\n%s\n", st.rule())
	p.say("%s\n\n", st.dim(fmt.Sprintf("decision %d · %s · %s", s.GetIndex()+1, clock(d.GetSeconds()), s.GetOrientation())))
	p.say("%s\n", st.bold(st.fold(s.GetCue(), "  ")))
	for _, f := range s.GetFindings() {
		p.say("%s\n", st.fold("- "+f, "  "))
	}
	p.say("\n%s\n%s\n\n", readings("  machine  ", s.GetMachine()), readings("  eye      ", s.GetEye()))
	for i, c := range s.GetChoices() {
		p.say("  %s  %s\n", st.bold(fmt.Sprint(i+1)), c.GetSay())
	}
	keys := fmt.Sprintf("1-%d decide · b break off", len(s.GetChoices()))
	if s.GetFreeHands() {
		keys = fmt.Sprintf("1-%d decide · f free hands · ? palette · b break off", len(s.GetChoices()))
	}
	p.say("\n  %s\n", st.dim(keys))
}

// readings writes measures in the eye's own order, with their units.
func readings(head string, values map[string]float64) string {
	var parts []string
	for _, m := range eye.MeasureTable() {
		v, ok := values[m.Name]
		switch {
		case !ok, m.Bool && v == 0:
		case m.Bool:
			parts = append(parts, plainName(m.Name, ""))
		default:
			parts = append(parts, reading(m, v))
		}
	}
	return head + strings.Join(parts, " · ")
}

// reading writes one measure: name, value, unit.
func reading(m eye.MeasureInfo, v float64) string {
	text := fmt.Sprintf("%s %s", plainName(m.Name, m.Unit), figure(v))
	if m.Unit != "" {
		text += " " + m.Unit
	}
	return text
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
		text := m.GetText()
		if text == "" {
			text = m.GetName()
		}
		if m.GetOff() {
			text = "no longer: " + text
		}
		p.say("%s\n", p.Style.fold("> "+text, "  "))
	}
}

// ended shows the last scene.
func (p *Player) ended(s *drillv1.Scene) {
	p.say("\n%s\n%s\n", p.Style.rule(), p.Style.bold(p.Style.fold(s.GetEnding(), "")))
}
