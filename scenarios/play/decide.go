package play

import (
	"fmt"
	"math"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Decision is what the trainee decided: one of Choice, Free and TimedOut. Elapsed is the seconds since the
// scene was shown, 0 to MaxElapsed; when the clock ran out it is the stage's limit, whatever is given.
type Decision struct {
	Choice   string
	Free     []eye.Action // 1 to 8, done in order
	TimedOut bool
	Elapsed  float64
	Reason   string
}

// MaxFree is the largest number of free actions in one decision.
const MaxFree = 8

// longestRun is the longest stretch the eye takes in one piece, in seconds.
const longestRun = 300

// Decide takes a decision and gives the step that goes on record. A refusal is a *Refusal and changes nothing;
// any other error is a fault of the scenario and changes nothing either. An action of an authored choice that
// the eye cannot do is passed over with a mark; when nothing of the choice could be done the step says so in
// Refused, the time has passed all the same, and the choice does not count as done.
func (d *Drill) Decide(dec Decision) (Step, error) {
	if d.Ended() {
		return Step{}, &Refusal{Kind: Ended, Reason: "the drill has ended", Instead: "start another"}
	}
	if d.paused {
		return Step{}, &Refusal{Kind: Paused, Reason: "the drill is paused", Instead: "resume it first"}
	}
	st, _ := d.sc.Stage(d.now.stage)
	elapsed, err := d.checkTime(st, dec)
	if err != nil {
		return Step{}, err
	}
	s := d.now.clone()
	step := Step{Index: len(d.record.Steps), Stage: st.Name, Reason: dec.Reason, Elapsed: elapsed, TimedOut: dec.TimedOut}
	if err := d.think(s, st, d.thinking(st, elapsed), &step); err != nil {
		return Step{}, err
	}
	doing := d.begin(s)
	switch {
	case dec.TimedOut:
		err = d.timeOut(s, st, doing, &step)
	case len(dec.Free) > 0:
		err = d.free(s, dec.Free, doing, &step)
	default:
		err = d.choose(s, st, dec.Choice, doing, &step)
	}
	if err != nil {
		return Step{}, err
	}
	for _, f := range s.eye.Showing() {
		step.Showing = append(step.Showing, f.ID)
	}
	step.Doing = doing.Segment
	was := d.now
	d.before, d.now = &was, *s
	d.record.Steps = append(d.record.Steps, step)
	d.record.Ending, d.record.Safe = s.ending, s.safe
	return step, nil
}

// checkTime checks the shape of the decision and gives its thinking time.
func (d *Drill) checkTime(st *script.Stage, dec Decision) (float64, error) {
	kinds := 0
	for _, given := range []bool{dec.Choice != "", len(dec.Free) > 0, dec.TimedOut} {
		if given {
			kinds++
		}
	}
	limit := d.limit(st)
	switch {
	case kinds != 1:
		return 0, &Refusal{Kind: NotOneThing, Reason: fmt.Sprintf("the decision says %d things", kinds), Instead: "send a choice, or free actions, or that the clock ran out"}
	case dec.TimedOut && limit == 0:
		return 0, &Refusal{Kind: NoLimit, Reason: "no clock is running here", Instead: "send a choice"}
	case dec.TimedOut:
		return limit, nil
	case math.IsNaN(dec.Elapsed) || dec.Elapsed < 0 || dec.Elapsed > MaxElapsed:
		return 0, &Refusal{Kind: BadElapsed, Reason: fmt.Sprintf("%g s of thinking time is out of range", dec.Elapsed), Instead: fmt.Sprintf("send from 0 to %d s", MaxElapsed)}
	case dec.Elapsed < d.now.thought:
		return 0, &Refusal{Kind: BadElapsed, Reason: fmt.Sprintf("%g s of thinking time is before the last event, at %g s", dec.Elapsed, d.now.thought), Instead: "count the seconds from when the scene was shown"}
	case limit > 0 && dec.Elapsed > limit:
		return 0, &Refusal{Kind: TimeIsUp, Reason: fmt.Sprintf("the limit of %g s has passed", limit), Instead: "send that the clock ran out (TimedOut)"}
	}
	return dec.Elapsed, nil
}

// limit gives the time limit that applies to a stage, 0 for none.
func (d *Drill) limit(st *script.Stage) float64 {
	if st.Clock == nil || d.noClock {
		return 0
	}
	return st.Clock.Seconds
}

// thinking gives how long the eye goes on. With the clock switched off thinking beyond the stage's limit costs
// nothing: whoever needs more time is not to pay for it with the eye.
func (d *Drill) thinking(st *script.Stage, elapsed float64) float64 {
	if d.noClock && st.Clock != nil {
		return min(elapsed, st.Clock.Seconds)
	}
	return elapsed
}

// think lets the eye go on for what is left of the thinking time, and joins it to what an event cut off.
func (d *Drill) think(s *state, st *script.Stage, seconds float64, step *Step) error {
	seg := d.begin(s)
	if err := d.goOn(s, st, seconds-s.thought, seg); err != nil {
		return err
	}
	step.Thinking = seg.Segment
	if s.partial != nil {
		step.Thinking = d.join(s.partial.clone(), seg.Segment)
	}
	s.thought, s.partial = 0, nil
	s.tries++
	s.note = ""
	return nil
}

// goOn lets the eye go on, with the stage's pedal when nothing has happened on this visit yet.
func (d *Drill) goOn(s *state, st *script.Stage, seconds float64, seg *stretch) error {
	if st.Pedal != nil && s.fresh {
		bound, err := d.sc.Bind([]script.Action{{Verb: "pedal", Args: []script.Argument{{Name: "position", Term: *st.Pedal}}}}, d.given)
		if err != nil {
			return err
		}
		if r, err := s.eye.Apply(bound[0].Action); err == nil { // refused: the pedal stays, the eye goes on
			d.add(s, seg, r)
		}
	}
	s.fresh = false
	for seconds > 0 {
		r, err := s.eye.Run(min(seconds, longestRun))
		if err != nil {
			return err
		}
		d.add(s, seg, r)
		seconds -= longestRun
	}
	return nil
}

func (d *Drill) timeOut(s *state, st *script.Stage, seg *stretch, step *Step) error {
	step.Choice, step.Say = script.ClockRanOut, "The clock ran out"
	s.counts[script.ClockRanOut]++
	if _, err := d.do(s, st.Clock.Does, seg); err != nil {
		return err
	}
	next, err := d.anywhere(s)
	if err != nil {
		return err
	}
	if next == "" {
		next = st.Clock.Then
	}
	return d.lead(s, next, seg, step)
}

func (d *Drill) free(s *state, actions []eye.Action, seg *stretch, step *Step) error {
	if !d.sc.FreeHands {
		return &Refusal{Kind: NoFreeHands, Reason: "this scenario takes its own choices only", Instead: "send one of the choices"}
	}
	if len(actions) > MaxFree {
		return &Refusal{Kind: ActionRefused, Reason: fmt.Sprintf("%d actions are too many for one decision", len(actions)), Instead: fmt.Sprintf("send at most %d", MaxFree)}
	}
	var words []string
	for _, a := range actions {
		r, err := s.eye.Apply(a)
		if err != nil {
			return &Refusal{Kind: ActionRefused, Reason: err.Error(), Cause: err}
		}
		d.add(s, seg, r)
		words = append(words, script.InWords(a))
	}
	step.Free, step.Say = actions, strings.Join(words, "; ")
	return d.follow(s, seg, step)
}

func (d *Drill) choose(s *state, st *script.Stage, id string, seg *stretch, step *Step) error {
	if id == script.SafeStop {
		return d.safeStop(s, seg, step)
	}
	var choice *script.Choice
	for i := range st.Choices {
		if st.Choices[i].ID == id {
			choice = &st.Choices[i]
		}
	}
	if choice != nil {
		offered, err := choice.When.Holds(&asked{d, &d.now})
		if err != nil {
			return err
		}
		if !offered {
			choice = nil
		}
	}
	if choice == nil {
		return &Refusal{Kind: NoSuchChoice, Reason: fmt.Sprintf("the choice %q is not offered now", id), Instead: "send one of the choices shown"}
	}
	step.Choice, step.Say, step.Stance, step.Because = choice.ID, script.Fill(choice.Say, "", d.given), Stance(choice.Stance), choice.Because
	done := len(seg.Marks)
	refused, err := d.do(s, choice.Does, seg)
	if err != nil {
		return err
	}
	if len(refused) > 0 {
		s.note = "Not done: " + refused[0].Error() + "."
	}
	if len(refused) > 0 && !seg.any {
		step.Refused = refused[0].Error()
		seg.Marks = seg.Marks[:done]
	} else {
		s.counts[choice.ID]++
	}
	return d.follow(s, seg, step)
}

// follow takes the first transition that holds; when none does the stage stays.
func (d *Drill) follow(s *state, seg *stretch, step *Step) error {
	next, err := d.anywhere(s)
	if err != nil {
		return err
	}
	st, _ := d.sc.Stage(s.stage)
	if next == "" {
		if next, err = d.first(s, st.Next); err != nil {
			return err
		}
	}
	if next == "" {
		next = st.Name
	}
	return d.lead(s, next, seg, step)
}

func (d *Drill) anywhere(s *state) (string, error) { return d.first(s, d.sc.Anywhere) }

func (d *Drill) first(s *state, ts []script.Transition) (string, error) {
	for _, t := range ts {
		ok, err := t.When.Holds(&asked{d, s})
		if err != nil {
			return "", err
		}
		if ok {
			return t.Go, nil
		}
	}
	return "", nil
}

// lead goes on to a stage or an ending.
func (d *Drill) lead(s *state, name string, seg *stretch, step *Step) error {
	if name == script.GoEnding {
		chosen, err := d.fitting(s)
		if err != nil {
			return err
		}
		name = chosen
	}
	step.Next = name
	if e, ok := d.sc.Ending(name); ok {
		s.stage, s.ending, s.safe = "", e.ID, e.Safe
		return nil
	}
	if name == s.stage {
		return nil
	}
	return d.arrive(s, name, seg)
}

// fitting gives the first ending whose condition holds, else the last one.
func (d *Drill) fitting(s *state) (string, error) {
	for _, e := range d.sc.Endings {
		if e.When == nil {
			continue
		}
		ok, err := e.When.Holds(&asked{d, s})
		if err != nil {
			return "", err
		}
		if ok {
			return e.ID, nil
		}
	}
	return d.sc.Endings[len(d.sc.Endings)-1].ID, nil
}

// arrive shows a stage anew. The eye's refusal of what happens on arrival leaves its mark and no more.
func (d *Drill) arrive(s *state, name string, seg *stretch) error {
	st, _ := d.sc.Stage(name)
	s.stage, s.tries, s.fresh = name, 0, true
	_, err := d.do(s, st.Arrive, seg)
	s.arrived = s.eye.Time() - d.zero
	return err
}

// Undo takes the last decision back, a mis-tap within the time the bench allows. The eye and the stage are as
// before it; the step stays on record as undone. Only one decision can be taken back.
func (d *Drill) Undo() error {
	if d.before == nil || len(d.record.Steps) == 0 {
		return &Refusal{Kind: NothingToUndo, Reason: "there is no decision to take back", Instead: "go on"}
	}
	d.now, d.before = *d.before, nil
	d.record.Steps[len(d.record.Steps)-1].Undone = true
	d.record.Ending, d.record.Safe = "", false
	return nil
}
