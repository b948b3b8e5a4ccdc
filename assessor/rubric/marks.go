package rubric

import (
	"fmt"
	"math"
)

// The functions that ask what came and when. Their meanings stand in the table (functions.go).

func happened(l *look, a values) (any, error) {
	i, ok := l.record.nextOn(a.text(0), 0)
	if !ok {
		l.absent(a.text(0))
		return false, nil
	}
	l.saw(l.record.events[i])
	return true, nil
}

func count(l *look, a values) (any, error) {
	n := 0.0
	for _, i := range l.record.byName[a.text(0)] {
		if e := l.record.events[i]; !e.off {
			l.saw(e)
			n++
		}
	}
	if n == 0 {
		l.absent(a.text(0))
	}
	return n, nil
}

func first(l *look, a values) (any, error) {
	i, ok := l.record.nextOn(a.text(0), 0)
	if !ok {
		return nil, l.never(a.text(0))
	}
	l.saw(l.record.events[i])
	return l.record.events[i].at, nil
}

func last(l *look, a values) (any, error) {
	at := -1
	for _, i := range l.record.byName[a.text(0)] {
		if !l.record.events[i].off {
			at = i
		}
	}
	if at < 0 {
		return nil, l.never(a.text(0))
	}
	l.saw(l.record.events[at])
	return l.record.events[at].at, nil
}

func gone(l *look, a values) (any, error) {
	i, ok := l.record.nextOn(a.text(0), 0)
	if !ok {
		return nil, l.never(a.text(0))
	}
	l.saw(l.record.events[i])
	spans := l.record.byName[a.text(0)]
	if e := l.record.events[spans[len(spans)-1]]; e.off {
		l.stated(a.text(0)+" went", fmt.Sprintf("last at second %.1f", e.at))
		return true, nil
	}
	l.stated(a.text(0)+" stayed", "on at the end")
	return false, nil
}

func before(l *look, a values) (any, error) {
	i, came := l.record.nextOn(a.text(0), 0)
	k, other := l.record.nextOn(a.text(1), 0)
	if !came && !other {
		return nil, l.miss(fmt.Sprintf("neither %s nor %s came", plain(a.text(0)), plain(a.text(1))))
	}
	for n, at := range []struct {
		i  int
		ok bool
	}{{i, came}, {k, other}} {
		if at.ok {
			l.saw(l.record.events[at.i])
		} else {
			l.absent(a.text(n))
		}
	}
	return came && (!other || i < k), nil
}

// interval finds the first of one moment and the next of the other after it; to is +Inf when the
// other never came after it.
func (l *look) interval(from, to string) (start event, seconds float64, err error) {
	i, start, ok := l.record.moment(from, 0)
	if !ok {
		return event{}, 0, l.never(from)
	}
	l.seen(start)
	_, end, ok := l.record.moment(to, i+1)
	if !ok {
		l.note(Evidence{Sort: Absent, Decision: -1, Second: l.record.end, Name: to, Text: "after " + from})
		return start, math.Inf(1), nil
	}
	l.seen(end)
	took := end.at - start.at
	l.note(Evidence{Sort: Timed, Decision: end.decision, Thinking: end.thinking, Second: end.at, Name: fmt.Sprintf("from %s to %s", plain(from), plain(to)), Value: took, Unit: "s"})
	return start, took, nil
}

// seen notes an event unless it is the start or the end, which say nothing.
func (l *look) seen(e event) {
	if e.name != eventStart && e.name != eventEnd {
		l.saw(e)
	}
}

func seconds(l *look, a values) (any, error) {
	_, took, err := l.interval(a.text(0), a.text(1))
	if err != nil {
		return nil, err
	}
	return took, nil
}

func within(l *look, a values) (any, error) {
	start, took, err := l.interval(a.text(0), a.text(1))
	if err != nil {
		return nil, err
	}
	limit := a.number(2)
	if math.IsInf(took, 1) && l.record.end < start.at+limit {
		return nil, l.miss(fmt.Sprintf("the record ends %.1f s after %s, before the %g s were up", l.record.end-start.at, plain(a.text(0)), limit))
	}
	return took <= limit, nil
}
