package eye

import (
	"math"
	"strconv"
)

// Mark is something that happened at a second: a finding switching on or off, or a
// signal (see [Findings], [Signals]).
type Mark struct {
	At   float64 // eye seconds
	Name string  // finding ID or signal name
	Off  bool    // the finding switched off
	Text string
}

// Result says what one Apply or Run did.
type Result struct {
	Start, End       float64  // eye seconds
	Marks            []Mark   // in time order
	Low, High, After Measures // extremes while it ran, sampled at least every 20 ms, and the state after
}

// maxSeconds bounds the eye time of one call.
const maxSeconds = 300

const (
	sampleTicks = 10   // extremes, history and stop conditions: every 20 ms
	lookTicks   = 25   // findings: every 50 ms
	bagTicks    = 1000 // the bag under the pressures since the last time: every 2 s
)

// Run lets time pass under the present pedal and settings, 0 to 300 s. Parts of a
// millisecond tick are carried over to the next call, so that many short runs add up.
func (e *Eye) Run(seconds float64) (Result, error) {
	if math.IsNaN(seconds) || seconds < 0 || seconds > maxSeconds {
		return Result{}, &Refusal{"run", "seconds", strconv.FormatFloat(seconds, 'g', -1, 64) + " is out of range", "run 0 to 300 s at a time"}
	}
	var r Result
	e.begin(&r)
	ticks := math.Floor((seconds+e.carry)/tick + 1e-6)
	e.carry = max(0, seconds+e.carry-ticks*tick)
	e.advance(int64(ticks), nil)
	e.end()
	return r, nil
}

func (e *Eye) begin(r *Result) {
	e.rec = r
	r.Start = e.Time()
	r.Low = e.Measures()
	r.High = r.Low
}

func (e *Eye) end() {
	r := e.rec
	e.rec = nil
	r.End = e.Time()
	r.After = e.Measures()
	r.span(&r.After)
	sortMarks(r.Marks)
}

// pass lets time pass within an action.
func (e *Eye) pass(seconds float64) { e.advance(int64(nearest(seconds/tick)), nil) }

// advance runs the loop; stop, tested every 20 ms, ends it early.
func (e *Eye) advance(ticks int64, stop func() bool) {
	for end := e.ticks + ticks; e.ticks < end; {
		n := int64(1)
		if e.calm >= e.par.CalmAfter && end-e.ticks >= longTicks {
			n = longTicks
		}
		e.step(n)
		e.ticks += n
		if e.ticks >= e.nextSample {
			e.nextSample = e.ticks + sampleTicks
			e.sample()
			if e.ticks >= e.nextLook {
				e.nextLook = e.ticks + lookTicks
				e.watch.look(e)
			}
			if e.ticks >= e.nextBag {
				e.checkBag()
			}
			if stop != nil && stop() {
				return
			}
		}
	}
}

// sample keeps the history findings need and the extremes of what moves fast.
func (e *Eye) sample() {
	e.watch.remember(e.depth, e.pa-e.pv)
	if e.rec != nil {
		e.spanFast(&e.rec.Low, &e.rec.High)
	}
	if e.traceTo != nil && e.Time() >= e.traceNext-tick/2 {
		e.traceNext = e.Time() + e.traceEvery
		e.traceTo(e.Time(), e.Measures())
	}
}

// span widens the extremes by a full set of measures.
func (r *Result) span(m *Measures) {
	for i, x := range m {
		if x < r.Low[i] {
			r.Low[i] = x
		}
		if x > r.High[i] {
			r.High[i] = x
		}
	}
}

// spanAll is for moments at which anything may have changed.
func (e *Eye) spanAll() {
	if e.rec != nil {
		m := e.Measures()
		e.rec.span(&m)
	}
}

// mark notes a signal now.
func (e *Eye) mark(name, text string) {
	if e.rec != nil {
		e.rec.Marks = append(e.rec.Marks, Mark{At: e.Time(), Name: name, Text: text})
	}
}

// sortMarks keeps equal times in the order they were noted.
func sortMarks(m []Mark) {
	for i := 1; i < len(m); i++ {
		for j := i; j > 0 && m[j].At < m[j-1].At; j-- {
			m[j], m[j-1] = m[j-1], m[j]
		}
	}
}
