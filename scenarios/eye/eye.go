package eye

import "errors"

var errNotYet = errors.New("eye: the physics of this build is not in place yet")

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

// Eye is the state of one model eye. It is not safe for concurrent use.
type Eye struct{}

// New makes the eye of a specification and a seed.
func New(spec Spec, seed uint64) (*Eye, error) {
	if err := spec.Check(); err != nil {
		return nil, err
	}
	return nil, errNotYet
}

// Clone copies the eye deeply.
func (e *Eye) Clone() *Eye { c := *e; return &c }

// Apply does an action.
func (e *Eye) Apply(a Action) (Result, error) {
	if err := a.Check(); err != nil {
		return Result{}, err
	}
	return Result{}, errNotYet
}

// Run lets time pass under the present pedal and settings.
func (e *Eye) Run(seconds float64) (Result, error) { return Result{}, errNotYet }

// Time is the eye's own time in seconds since New.
func (e *Eye) Time() float64 { return 0 }

// Measures reads all measures.
func (e *Eye) Measures() Measures { return Measures{} }

// Showing lists the findings on now, in catalogue order.
func (e *Eye) Showing() []Finding { return nil }

// Outcome sums up the run.
func (e *Eye) Outcome() Outcome { return Outcome{} }

// ResetCounters restarts the counters.
func (e *Eye) ResetCounters() {}

// Trace sets a recorder.
func (e *Eye) Trace(every float64, f func(t float64, m Measures)) {}
