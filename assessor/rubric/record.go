package rubric

import (
	"math"
	"sort"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// Record is a timeline prepared for rules: what happened, in order, and the stretches with their
// extremes. Decisions taken back in time are left out. It is not changed after [NewRecord] and is
// safe for concurrent use.
type Record struct {
	timeline  play.Timeline
	steps     []*play.Step // those not taken back
	events    []event      // in time order
	byName    map[string][]int
	stretches []stretch
	start     float64 // the first stage is shown: 0, or later when something is done on arriving there
	end       float64
}

// event is something that happened at a second.
type event struct {
	at       float64
	name     string
	off      bool // a finding went
	text     string
	decision int // index of the decision, -1 when the drill began
	thinking bool
	refused  bool // a choice the eye could not do
}

// stretch is one segment with the decision it belongs to.
type stretch struct {
	*play.Segment
	decision int
	thinking bool
}

// NewRecord prepares a timeline.
//
// The opening is not the trainee's doing: nothing in it counts, except that findings still on when
// it ends are there when the first stage is shown.
func NewRecord(t play.Timeline) *Record {
	r := &Record{timeline: t, byName: map[string][]int{}, start: math.Max(0, t.Opening.End)}
	r.end = r.start
	r.open(t.Opening.Marks)
	for i := range t.Steps {
		s := &t.Steps[i]
		if s.Undone {
			continue
		}
		r.steps = append(r.steps, s)
		r.stretch(&s.Thinking, s.Index, true)
		if s.Choice != "" {
			r.events = append(r.events, event{at: r.decided(s), name: choicePrefix + s.Choice, text: s.Say, decision: s.Index, refused: s.Refused != ""})
		}
		r.stretch(&s.Doing, s.Index, false)
	}
	sort.SliceStable(r.events, func(i, j int) bool { return r.events[i].at < r.events[j].at })
	for i, e := range r.events {
		r.byName[e.name] = append(r.byName[e.name], i)
	}
	return r
}

func (r *Record) open(marks []eye.Mark) {
	findings := map[string]bool{}
	for _, f := range eye.Findings() {
		findings[f.ID] = true
	}
	last := map[string]int{}
	for i, m := range marks {
		last[m.Name] = i
	}
	for i, m := range marks {
		if findings[m.Name] && last[m.Name] == i && !m.Off {
			r.events = append(r.events, event{at: r.start, name: m.Name, text: m.Text, decision: -1})
		}
	}
}

// decided is the second of a decision. One that the eye refused has nothing done to go by.
func (r *Record) decided(s *play.Step) float64 {
	if recorded(&s.Doing) {
		return s.Doing.Start
	}
	return s.Thinking.End
}

// recorded says whether there is anything in a segment: a refused decision leaves it blank, and
// blank extremes are no measurements.
func recorded(s *play.Segment) bool {
	return s.End > s.Start || s.After != eye.Measures{} || len(s.Marks) > 0
}

func (r *Record) stretch(s *play.Segment, decision int, thinking bool) {
	if !recorded(s) {
		return
	}
	r.stretches = append(r.stretches, stretch{s, decision, thinking})
	r.end = math.Max(r.end, s.End)
	for _, m := range s.Marks {
		r.events = append(r.events, event{at: m.At, name: m.Name, off: m.Off, text: m.Text, decision: decision, thinking: thinking})
	}
}

// Empty says that no decision stands, so nothing can be judged.
func (r *Record) Empty() bool { return len(r.steps) == 0 }

// End is the last recorded second of the drill.
func (r *Record) End() float64 { return r.end }

// First gives the first coming of a mark as evidence.
func (r *Record) First(mark string) (Evidence, bool) {
	i, ok := r.nextOn(mark, 0)
	if !ok {
		return Evidence{}, false
	}
	l := &look{record: r}
	l.saw(r.events[i])
	return l.evidence[0], true
}

// nextOn finds the first coming-on of name at or after position from in the order of events.
func (r *Record) nextOn(name string, from int) (int, bool) {
	for _, i := range r.byName[name] {
		if i >= from && !r.events[i].off {
			return i, true
		}
	}
	return 0, false
}

// moment finds when name first happened after position from; the start and the end of the drill
// stand before and after all events.
func (r *Record) moment(name string, from int) (position int, e event, ok bool) {
	switch name {
	case eventStart:
		if from > 0 {
			return 0, event{}, false
		}
		return -1, event{name: eventStart, at: r.start, decision: -1}, true
	case eventEnd:
		decision := -1
		if n := len(r.steps); n > 0 {
			decision = r.steps[n-1].Index
		}
		return len(r.events), event{name: eventEnd, at: r.end, decision: decision}, true
	}
	i, ok := r.nextOn(name, max(from, 0))
	if !ok {
		return 0, event{}, false
	}
	return i, r.events[i], true
}

// span is a stretch of time.
type span struct{ from, to float64 }

// while gives the spans in which a finding was on.
func (r *Record) while(finding string) []span {
	var out []span
	on := false
	for _, i := range r.byName[finding] {
		switch e := r.events[i]; {
		case !e.off && !on:
			out, on = append(out, span{e.at, r.end}), true
		case e.off && on:
			out[len(out)-1].to, on = e.at, false
		}
	}
	return out
}

// on says whether a switch was on just after position p in the order of events.
func (r *Record) on(toggle string, p int) bool {
	state, _ := r.timeline.Opening.After.Get(switches[toggle])
	is := state > 0.5
	for i := 0; i <= p && i < len(r.events); i++ {
		switch r.events[i].name {
		case toggle + "-on":
			is = true
		case toggle + "-off":
			is = false
		}
	}
	return is
}
