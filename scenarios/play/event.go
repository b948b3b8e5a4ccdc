package play

import (
	"fmt"
	"math"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// EventKind says what a facilitator did.
type EventKind string

// The events of a facilitator.
const (
	EventPause    EventKind = "pause"
	EventResume   EventKind = "resume"
	EventInject   EventKind = "inject"
	EventAnnotate EventKind = "annotate"
	EventClockOff EventKind = "clock-off"
	EventClockOn  EventKind = "clock-on"
)

// Event is something the facilitator did while a decision was awaited. It is no decision of the trainee's: the judge
// leaves it out, and what it did to the eye stands in Doing alone. What the trainee thought before it is part of the
// next step's Thinking.
type Event struct {
	Kind    EventKind
	Before  int        // index of the decision awaited
	Elapsed float64    // seconds since the scene was shown, pauses not counted
	At      float64    // drill seconds
	Words   string     // of an annotation; of an injection, what it was in words
	Action  eye.Action // of an injection
	Doing   Segment    // of an injection; of any other event the instant
}

// MaxWords is the longest annotation, in bytes.
const MaxWords = 500

// gelComes is the one injection that is no verb of the eye's palette: no hand does it.
const gelComes = "gel-comes"

// Injectable lists what a facilitator can bring about: what the patient does, and what goes wrong beside the
// surgeon's hands. Each is described as the eye describes its verbs.
func Injectable() []eye.Verb {
	var out []eye.Verb
	for _, name := range []string{"squeeze", "cough", "startle", "clamp"} {
		if v, ok := eye.LookupVerb(name); ok {
			out = append(out, v)
		}
	}
	machine, _ := eye.LookupVerb("machine")
	for _, a := range machine.Args {
		if a.Name == "bottle" {
			a.Required, a.LeftOut = true, ""
			out = append(out, eye.Verb{Name: "machine", Meaning: "the bottle sinks, or is moved", Args: []eye.Arg{a}})
		}
	}
	return append(out, eye.Verb{Name: gelComes, Meaning: "gel comes forward: the face of the vitreous gives way", Args: []eye.Arg{
		{Name: "volume", Unit: "uL", Meaning: "how much comes into the chamber", Max: 20, Default: 3, Main: true},
		{Name: "strand", Meaning: "how far a strand is engaged at the port, 0 to 1", Max: 1},
	}})
}

// Pause stops the drill's time: the eye stands still and no decision is taken until Resume. elapsed is the thinking
// time so far. Pauses are no part of any thinking time; whoever measures it leaves them out.
func (d *Drill) Pause(elapsed float64) error {
	if err := d.ready(elapsed); err != nil {
		return err
	}
	d.paused = true
	d.note(EventPause, elapsed, "")
	return nil
}

// Resume ends a pause.
func (d *Drill) Resume() error {
	if !d.paused {
		return &Refusal{Kind: NotPaused, Reason: "the drill is not paused", Instead: "go on"}
	}
	d.paused = false
	d.note(EventResume, d.record.Events[len(d.record.Events)-1].Elapsed, "")
	return nil
}

// IsPaused reports whether the drill stands still.
func (d *Drill) IsPaused() bool { return d.paused }

// Annotate puts the facilitator's words on record; it may be done while the drill is paused.
func (d *Drill) Annotate(elapsed float64, words string) error {
	words = strings.TrimSpace(words)
	if words == "" || len(words) > MaxWords {
		return &Refusal{Kind: NoWords, Reason: fmt.Sprintf("the annotation has %d characters", len(words)), Instead: fmt.Sprintf("write from 1 to %d", MaxWords)}
	}
	if err := d.timely(elapsed); err != nil {
		return err
	}
	d.note(EventAnnotate, elapsed, words)
	return nil
}

// SetClock switches time limits on or off from now on. Switching to what holds already is refused by nothing and
// puts nothing on record.
func (d *Drill) SetClock(on bool, elapsed float64) error {
	if err := d.timely(elapsed); err != nil {
		return err
	}
	if on == !d.noClock {
		return nil
	}
	d.noClock = !on
	d.note(map[bool]EventKind{true: EventClockOn, false: EventClockOff}[on], elapsed, "")
	return nil
}

// Inject brings about one event of [Injectable] at an instant of the trainee's thinking: the eye goes on to that
// instant, the event happens, and the thinking goes on. The stage and its clock stay; the trainee sees the scene
// anew. After it the decision before can no longer be taken back.
func (d *Drill) Inject(elapsed float64, a eye.Action) error {
	if err := d.ready(elapsed); err != nil {
		return err
	}
	if err := checkInjection(a); err != nil {
		return err
	}
	st, _ := d.sc.Stage(d.now.stage)
	s := d.now.clone()
	before := d.begin(s)
	if err := d.goOn(s, st, max(0, d.thinking(st, elapsed)-s.thought), before); err != nil {
		return err
	}
	thought := before.Segment
	if s.partial != nil {
		thought = d.join(s.partial.clone(), thought)
	}
	s.thought, s.partial = elapsed, &thought
	doing := d.begin(s)
	at := doing.Start
	if err := d.bringAbout(s, a, doing); err != nil {
		return err
	}
	d.now, d.before = *s, nil
	d.record.Events = append(d.record.Events, Event{Kind: EventInject, Before: len(d.record.Steps), Elapsed: elapsed, At: at, Words: injectionWords(a), Action: a, Doing: doing.Segment})
	return nil
}

func (d *Drill) bringAbout(s *state, a eye.Action, doing *stretch) error {
	if a.Verb == gelComes {
		volume, given := a.Num["volume"]
		if !given {
			volume = 3
		}
		s.eye.Present(volume, a.Num["strand"])
		doing.settle(d.measures(s))
		return nil
	}
	r, err := s.eye.Apply(a)
	if err != nil {
		return &Refusal{Kind: ActionRefused, Reason: err.Error(), Cause: err}
	}
	d.add(s, doing, r)
	return nil
}

// checkInjection holds an action against the list.
func checkInjection(a eye.Action) error {
	var names []string
	for _, v := range Injectable() {
		names = append(names, v.Name)
		if v.Name != a.Verb {
			continue
		}
		for _, arg := range v.Args {
			x, given := a.Num[arg.Name]
			if arg.Required && !given && !arg.IsWord() || given && (math.IsNaN(x) || x < arg.Min || x > arg.Max) {
				return &Refusal{Kind: NotListed, Reason: fmt.Sprintf("%s of %s is %g", arg.Name, a.Verb, x), Instead: fmt.Sprintf("give from %g to %g %s", arg.Min, arg.Max, arg.Unit)}
			}
		}
		for name := range a.Num {
			if !hasArg(v, name) {
				return &Refusal{Kind: NotListed, Reason: fmt.Sprintf("%s takes no %s when it is brought about", a.Verb, name), Instead: "leave it out"}
			}
		}
		for name := range a.Word {
			if !hasArg(v, name) {
				return &Refusal{Kind: NotListed, Reason: fmt.Sprintf("%s takes no %s when it is brought about", a.Verb, name), Instead: "leave it out"}
			}
		}
		return nil
	}
	return &Refusal{Kind: NotListed, Reason: fmt.Sprintf("%q cannot be brought about", a.Verb), Instead: "choose one of " + strings.Join(names, ", ")}
}

func hasArg(v eye.Verb, name string) bool {
	for _, a := range v.Args {
		if a.Name == name {
			return true
		}
	}
	return false
}

// injectionWords writes an injection as a person reads it.
func injectionWords(a eye.Action) string {
	if a.Verb != gelComes {
		return script.InWords(a)
	}
	volume, given := a.Num["volume"]
	if !given {
		volume = 3
	}
	return fmt.Sprintf("gel comes: %g uL, strand %g", volume, a.Num["strand"])
}

// ready refuses an event that needs a running drill.
func (d *Drill) ready(elapsed float64) error {
	if d.paused {
		return &Refusal{Kind: Paused, Reason: "the drill is paused", Instead: "resume it first"}
	}
	return d.timely(elapsed)
}

// timely refuses an event after the end or out of the present thinking time.
func (d *Drill) timely(elapsed float64) error {
	if d.Ended() {
		return &Refusal{Kind: Ended, Reason: "the drill has ended", Instead: "start another"}
	}
	st, _ := d.sc.Stage(d.now.stage)
	switch limit := d.limit(st); {
	case math.IsNaN(elapsed) || elapsed < d.now.thought || elapsed > MaxElapsed:
		return &Refusal{Kind: BadElapsed, Reason: fmt.Sprintf("%g s of thinking time is out of range", elapsed), Instead: fmt.Sprintf("send from %g to %d s", d.now.thought, MaxElapsed)}
	case limit > 0 && elapsed > limit:
		return &Refusal{Kind: TimeIsUp, Reason: fmt.Sprintf("the limit of %g s has passed", limit), Instead: "send that the clock ran out (TimedOut)"}
	}
	return nil
}

// note puts an event on record that does nothing to the eye.
func (d *Drill) note(kind EventKind, elapsed float64, words string) {
	at := d.Seconds() + elapsed - d.now.thought
	d.record.Events = append(d.record.Events, Event{Kind: kind, Before: len(d.record.Steps), Elapsed: elapsed, At: at, Words: words, Doing: d.begin(&d.now).Segment})
}

// repeat brings a recorded event about again. What did nothing to the eye is taken over as it was recorded: a decision
// taken back since may have changed what was on show then.
func (d *Drill) repeat(e Event) error {
	switch e.Kind {
	case EventInject:
		return d.Inject(e.Elapsed, e.Action)
	case EventPause, EventResume:
		d.paused = e.Kind == EventPause
	case EventClockOff, EventClockOn:
		d.noClock = e.Kind == EventClockOff
	case EventAnnotate:
	default:
		return fmt.Errorf("the event %q is not known to this build", e.Kind)
	}
	d.record.Events = append(d.record.Events, e)
	return nil
}
