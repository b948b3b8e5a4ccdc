package rubric

import (
	"fmt"
	"math"
)

// The functions that ask about irrigation, aspiration and ultrasound being on or off.

// waited gives the seconds from a moment until the switch was as wanted.
func (l *look) waited(toggle string, on bool, from string) (any, error) {
	i, start, ok := l.record.moment(from, 0)
	if !ok {
		return nil, l.never(from)
	}
	l.seen(start)
	state := position(on)
	if l.record.on(toggle, i) == on {
		l.note(Evidence{Sort: Stated, Decision: start.decision, Thinking: start.thinking, Second: start.at, Name: toggle, Text: "already " + state})
		return 0.0, nil
	}
	at, ok := l.record.nextOn(toggle+"-"+state, i+1)
	if !ok {
		l.note(Evidence{Sort: Absent, Decision: -1, Second: l.record.end, Name: toggle + "-" + state, Text: "after " + from})
		return math.Inf(1), nil
	}
	e := l.record.events[at]
	l.saw(e)
	l.note(Evidence{Sort: Timed, Decision: e.decision, Thinking: e.thinking, Second: e.at, Name: fmt.Sprintf("from %s to %s", plain(from), plain(e.name)), Value: e.at - start.at, Unit: "s"})
	return e.at - start.at, nil
}

func position(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func offAfter(l *look, a values) (any, error) { return l.waited(a.text(0), false, a.text(1)) }
func onAfter(l *look, a values) (any, error)  { return l.waited(a.text(0), true, a.text(1)) }

// kept says whether the switch stayed as wanted from one moment to the next other. What happens in
// the very second of the other does not count: withdrawing an instrument also stops its fluids.
func (l *look) kept(toggle string, on bool, from, to string) (any, error) {
	i, start, ok := l.record.moment(from, 0)
	if !ok {
		return nil, l.never(from)
	}
	l.seen(start)
	k, end, ok := l.record.moment(to, i+1)
	if !ok {
		k, end, _ = l.record.moment(eventEnd, i+1)
	}
	state, other := position(on), position(!on)
	if l.record.on(toggle, i) != on {
		l.note(Evidence{Sort: Stated, Decision: start.decision, Thinking: start.thinking, Second: start.at, Name: toggle, Text: "already " + other})
		return false, nil
	}
	if at, ok := l.record.nextOn(toggle+"-"+other, i+1); ok && at < k && l.record.events[at].at < end.at {
		l.saw(l.record.events[at])
		return false, nil
	}
	l.seen(end)
	l.note(Evidence{Sort: Stated, Decision: end.decision, Thinking: end.thinking, Second: end.at, Name: toggle, Text: fmt.Sprintf("%s from second %.1f to %.1f", state, start.at, end.at)})
	return true, nil
}

func keptOn(l *look, a values) (any, error)  { return l.kept(a.text(0), true, a.text(1), a.text(2)) }
func keptOff(l *look, a values) (any, error) { return l.kept(a.text(0), false, a.text(1), a.text(2)) }
