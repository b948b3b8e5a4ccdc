package play

import (
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Scene is what the trainee sees now. It holds nothing hidden.
type Scene struct {
	Cue         string             // in words, with the findings filled in where the author asks for them
	Findings    []string           // texts of the findings on now
	Choices     []Offer            // in an order drawn from the seed, the safe stop last; none after the end
	FreeHands   bool               // free actions are taken too
	LimitS      float64            // seconds; 0 for none
	Machine     map[string]float64 // what the machine shows, by measure name
	Eye         map[string]float64 // what the eye shows, by measure name
	Orientation string             // which eye, and where the surgeon sits
	Index       int                // of the decision it waits for
	Ending      string             // the ending's words, empty until then
	Safe        bool               // the ending is a safe one
}

// Offer is one choice as it is shown.
type Offer struct {
	ID, Say    string
	AsksReason bool
}

// machineMeasures are what the machine shows on its own face.
var machineMeasures = map[string]bool{
	"pedal": true, "vacuum_mmhg": true, "bottle_cm": true, "flow_ml_min": true, "vacuum_limit_mmhg": true, "power": true, "cde": true,
	"irrigation_on": true, "aspirating": true, "ultrasound_on": true,
}

// Scene shows the drill as the trainee sees it.
func (d *Drill) Scene() Scene {
	s := Scene{
		FreeHands: d.sc.FreeHands, Index: len(d.record.Steps),
		Orientation: d.sc.Side + " eye, the surgeon sits " + d.sc.Sits,
		Machine:     map[string]float64{}, Eye: map[string]float64{},
	}
	for _, f := range d.now.eye.Showing() {
		s.Findings = append(s.Findings, f.Text)
	}
	m := d.measures(&d.now)
	for i, info := range eye.MeasureTable() {
		switch {
		case info.Hidden:
		case machineMeasures[info.Name]:
			s.Machine[info.Name] = m[i]
		default:
			s.Eye[info.Name] = m[i]
		}
	}
	if d.Ended() {
		e, _ := d.sc.Ending(d.now.ending)
		s.Cue, s.Ending, s.Safe, s.FreeHands = e.Says, e.Says, e.Safe, false
		return s
	}
	st, _ := d.sc.Stage(d.now.stage)
	s.Cue = d.cue(st, s.Findings)
	s.Choices = d.offers(st)
	s.LimitS = d.limit(st)
	return s
}

func (d *Drill) cue(st *script.Stage, findings []string) string {
	words := st.Cue
	for _, also := range st.Also {
		if ok, err := also.When.Holds(&asked{d, &d.now}); ok && err == nil {
			words += " " + also.Say
		}
	}
	words = script.Fill(words, strings.Join(findings, " "), d.given)
	if d.now.note != "" {
		words = d.now.note + " " + words
	}
	if len(d.record.Steps) == 0 {
		words = d.sc.Brief + " " + words
	}
	return words
}

// offers lists the stage's choices that are open now, in an order that depends on the seed and the stage only,
// so that a place in the list says nothing and the list does not jump when the stage is shown again.
func (d *Drill) offers(st *script.Stage) []Offer {
	order := make([]int, len(st.Choices))
	for i := range order {
		order[i] = i
	}
	script.NewStream(d.record.Seed, "order of "+st.Name).Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
	var out []Offer
	for _, i := range order {
		ch := st.Choices[i]
		if ok, err := ch.When.Holds(&asked{d, &d.now}); ok && err == nil {
			out = append(out, Offer{ch.ID, script.Fill(ch.Say, "", d.given), ch.AsksReason})
		}
	}
	stop := script.SafeStopChoice()
	return append(out, Offer{stop.ID, stop.Say, stop.AsksReason})
}
