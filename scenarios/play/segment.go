package play

import (
	"slices"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// stretch gathers what several actions did to one segment.
type stretch struct {
	Segment
	any bool // something has been gathered, so the extremes hold
}

// measures reads the eye with its time on the drill's clock.
func (d *Drill) measures(s *state) eye.Measures {
	m := s.eye.Measures()
	m[d.timeIdx] -= d.zero
	return m
}

// begin starts a segment at the present state.
func (d *Drill) begin(s *state) *stretch {
	m := d.measures(s)
	t := s.eye.Time() - d.zero
	return &stretch{Segment: Segment{Start: t, End: t, Low: m, High: m, After: m}}
}

// add brings what one action did into the segment.
func (d *Drill) add(s *state, seg *stretch, r eye.Result) {
	for _, m := range r.Marks {
		m.At -= d.zero
		seg.Marks = append(seg.Marks, m)
		if !m.Off {
			s.marks[m.Name] = true
		}
	}
	d.widen(&seg.Segment, r.Low, r.High)
	seg.any = true
	seg.End = r.End - d.zero
	seg.settle(d.measures(s))
}

// settle sets the state afterwards and keeps it within the extremes.
func (s *Segment) settle(after eye.Measures) {
	s.After = after
	for i, x := range after {
		s.Low[i] = min(s.Low[i], x)
		s.High[i] = max(s.High[i], x)
	}
}

func (d *Drill) widen(seg *Segment, low, high eye.Measures) {
	low[d.timeIdx] -= d.zero
	high[d.timeIdx] -= d.zero
	for i := range low {
		seg.Low[i] = min(seg.Low[i], low[i])
		seg.High[i] = max(seg.High[i], high[i])
	}
}

// shift moves a segment back in time, when the drill's clock starts.
func (d *Drill) shift(seg *Segment, by float64) {
	seg.Start -= by
	seg.End -= by
	for i := range seg.Marks {
		seg.Marks[i].At -= by
	}
	seg.Low[d.timeIdx] -= by
	seg.High[d.timeIdx] -= by
}

// clone copies the segment so that its marks can be added to.
func (s *Segment) clone() Segment {
	c := *s
	c.Marks = slices.Clone(s.Marks)
	return c
}

// join appends a later segment to an earlier one.
func (d *Drill) join(a, b Segment) Segment {
	a.Marks = append(a.Marks, b.Marks...)
	for i := range a.Low {
		a.Low[i] = min(a.Low[i], b.Low[i])
		a.High[i] = max(a.High[i], b.High[i])
	}
	a.End = b.End
	a.settle(b.After)
	return a
}

// do does authored actions. What the eye refuses is passed over and leaves a mark; the refusals are returned.
// The error is a guard that failed or a circumstance that is missing.
func (d *Drill) do(s *state, actions []script.Action, seg *stretch) ([]error, error) {
	bound, err := d.sc.Bind(actions, d.given)
	if err != nil {
		return nil, err
	}
	var refused []error
	for _, b := range bound {
		ok, err := b.When.Holds(&asked{d, s})
		if err != nil {
			return refused, err
		}
		if !ok {
			continue
		}
		r, err := s.eye.Apply(b.Action)
		if err != nil {
			refused = append(refused, err)
			seg.Marks = append(seg.Marks, eye.Mark{At: s.eye.Time() - d.zero, Name: script.PassedOver, Text: err.Error()})
			s.marks[script.PassedOver] = true
			continue
		}
		d.add(s, seg, r)
	}
	return refused, nil
}

// asked answers guards from a state.
type asked struct {
	d *Drill
	s *state
}

func (a *asked) Measure(name string) float64 {
	i, _ := eye.MeasureIndex(name)
	return a.d.measures(a.s)[i]
}

func (a *asked) Given(name string) float64 { return a.d.given[name].Number }

func (a *asked) Seconds() (drill, stage float64) {
	now := a.s.eye.Time() - a.d.zero
	return now, now - a.s.arrived
}

func (a *asked) Tries() int { return a.s.tries }

func (a *asked) Times(choice string) int { return a.s.counts[choice] }

func (a *asked) Happened(mark string) bool { return a.s.marks[mark] }

func (a *asked) Showing(finding string) bool {
	for _, f := range a.s.eye.Showing() {
		if f.ID == finding {
			return true
		}
	}
	return false
}
