package play

import (
	"fmt"
	"slices"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// MaxElapsed is the longest thinking time of one decision, in seconds.
const MaxElapsed = 600

// Options choose the circumstances of a drill. An empty Variant lets the seed choose one.
type Options struct {
	Variant  string
	Seed     uint64
	ClockOff bool // time limits do not apply, and thinking beyond one costs nothing
}

// Drill is one run of a scenario. It is not safe for concurrent use.
type Drill struct {
	sc      *script.Scenario
	given   script.Circumstances
	zero    float64 // eye seconds at which the drill's clock started
	record  Timeline
	now     state
	before  *state // what Undo goes back to; nil when there is nothing to take back
	paused  bool
	noClock bool // time limits are off now
	timeIdx int  // index of the measure time_s
}

// state is what changes from decision to decision.
type state struct {
	eye     *eye.Eye
	stage   string // empty once the drill has ended
	arrived float64
	tries   int
	fresh   bool // no decision taken on this visit yet, so the stage's pedal applies
	counts  map[string]int
	marks   map[string]bool
	note    string   // what could not be done, shown before the next cue
	thought float64  // seconds of the present decision's thinking that an event has let pass already
	partial *Segment // what happened in them; never changed once it stands here
	ending  string
	safe    bool
}

func (s *state) clone() *state {
	c := *s
	c.eye = s.eye.Clone()
	c.counts = make(map[string]int, len(s.counts)+1)
	for k, v := range s.counts {
		c.counts[k] = v
	}
	c.marks = make(map[string]bool, len(s.marks)+8)
	for k := range s.marks {
		c.marks[k] = true
	}
	return &c
}

// New draws the circumstances, makes the eye, plays the opening and shows the first stage. It fails for an
// unknown variant, for a scenario that was not parsed, and when the eye refuses the opening.
func New(sc *script.Scenario, opts Options) (*Drill, error) {
	if sc.Digest == "" {
		return nil, fmt.Errorf("the scenario %q was not parsed from a text; print it and parse it first", sc.ID)
	}
	if opts.Variant == "" {
		opts.Variant = sc.DrawVariant(opts.Seed)
	}
	v, ok := sc.Variant(opts.Variant)
	if !ok {
		return nil, &Refusal{Kind: NoSuchVariant, Reason: fmt.Sprintf("the scenario %s has no variant %q", sc.ID, opts.Variant), Instead: "choose one of " + variantNames(sc)}
	}
	given := v.Draw(opts.Seed)
	spec, err := sc.Eye.Spec(given)
	if err != nil {
		return nil, fmt.Errorf("scenario %s, variant %s: %w", sc.ID, v.Name, err)
	}
	e, err := eye.New(spec, opts.Seed)
	if err != nil {
		return nil, fmt.Errorf("scenario %s, variant %s: %w", sc.ID, v.Name, err)
	}
	d := &Drill{sc: sc, given: given, record: Timeline{ScenarioID: sc.ID, Digest: sc.Digest, Model: eye.Model, Variant: v.Name, Seed: opts.Seed, ClockOff: opts.ClockOff, Overlay: sc.Overlay}, noClock: opts.ClockOff}
	d.timeIdx, _ = eye.MeasureIndex("time_s")
	if err := d.open(e); err != nil {
		return nil, fmt.Errorf("scenario %s, variant %s: the opening: %w", sc.ID, v.Name, err)
	}
	return d, nil
}

// open plays the opening, restarts the eye's counters and starts the drill's clock.
func (d *Drill) open(e *eye.Eye) error {
	s := &state{eye: e, counts: map[string]int{}, marks: map[string]bool{}}
	opening := d.sc.Opening
	if len(d.sc.Machine.Args) > 0 {
		opening = append([]script.Action{d.sc.Machine}, opening...)
	}
	seg := d.begin(s)
	if refused, err := d.do(s, opening, seg); err != nil || len(refused) > 0 {
		if err == nil {
			err = refused[0]
		}
		return err
	}
	e.ResetCounters()
	d.zero = e.Time()
	d.shift(&seg.Segment, d.zero)
	seg.settle(d.measures(s))
	d.record.Opening = seg.Segment
	s.marks = map[string]bool{} // happened() counts from the first stage
	arrival := d.begin(s)
	if err := d.arrive(s, d.sc.First, arrival); err != nil {
		return err
	}
	d.record.Opening = d.join(d.record.Opening, arrival.Segment)
	d.now = *s
	return nil
}

// Ended reports whether an ending has been reached.
func (d *Drill) Ended() bool { return d.now.ending != "" }

// Timeline gives the record so far; it is the caller's own.
func (d *Drill) Timeline() *Timeline {
	t := d.record
	t.Steps = slices.Clone(d.record.Steps)
	t.Events = slices.Clone(d.record.Events)
	return &t
}

// Clone copies the drill deeply, so that branches can be explored.
func (d *Drill) Clone() *Drill {
	c := *d
	c.now = *d.now.clone()
	c.record = *d.Timeline()
	if d.before != nil {
		c.before = d.before.clone()
	}
	return &c
}

// Seconds gives the drill's clock.
func (d *Drill) Seconds() float64 { return d.now.eye.Time() - d.zero }

// Stage gives the name of the stage shown, empty once the drill has ended. A trainee does not see it.
func (d *Drill) Stage() string { return d.now.stage }

// Circumstances gives the drawn values of the variant. A trainee does not see them.
func (d *Drill) Circumstances() script.Circumstances { return d.given }

// Outcome sums up what has happened to the eye since the opening. A trainee does not see it before the debrief.
func (d *Drill) Outcome() eye.Outcome { return d.now.eye.Outcome() }

// Scenario gives the scenario played.
func (d *Drill) Scenario() *script.Scenario { return d.sc }

func variantNames(sc *script.Scenario) string {
	s := ""
	for i, v := range sc.Variants {
		if i > 0 {
			s += ", "
		}
		s += v.Name
	}
	return s
}
