package rubric

import (
	"fmt"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// The functions that ask how low or high a measure went. The record holds the extremes of whole
// stretches (the time before a decision, and the time the decision took), not of every instant, so
// a question about a time in between looks at the stretches that touch it.

// extreme is lowest or highest over the stretches for which in holds; missing when there are none.
func (l *look) extreme(measure string, high bool, what string, in func(s stretch) bool) (any, error) {
	m, _ := eye.MeasureIndex(measure)
	at, best := -1, 0.0
	for i, s := range l.record.stretches {
		if !measured(s.Segment) || !in(s) {
			continue
		}
		v := s.low(m)
		if high {
			v = s.high(m)
		}
		if at < 0 || high && v > best || !high && v < best {
			at, best = i, v
		}
	}
	if at < 0 {
		return nil, l.miss("nothing was measured " + what)
	}
	which := "lowest "
	if high {
		which = "highest "
	}
	l.measured(which, l.record.stretches[at], m, best)
	return best, nil
}

// measured says whether a segment holds measures: no eye has every measure 0, so blank ones were
// never taken.
func measured(s *play.Segment) bool { return s.After != eye.Measures{} }

// A stretch that took no time has no extremes of its own.
func (s stretch) low(m int) float64 {
	if s.End <= s.Start {
		return s.After[m]
	}
	return s.Low[m]
}

func (s stretch) high(m int) float64 {
	if s.End <= s.Start {
		return s.After[m]
	}
	return s.High[m]
}

func always(stretch) bool { return true }

func lowest(l *look, a values) (any, error) {
	return l.extreme(a.text(0), false, "at all", always)
}

func highest(l *look, a values) (any, error) {
	return l.extreme(a.text(0), true, "at all", always)
}

func (l *look) between(a values, high bool) (any, error) {
	i, start, ok := l.record.moment(a.text(1), 0)
	if !ok {
		return nil, l.never(a.text(1))
	}
	l.seen(start)
	_, end, ok := l.record.moment(a.text(2), i+1)
	if !ok {
		_, end, _ = l.record.moment(eventEnd, i+1)
	}
	l.seen(end)
	return l.extreme(a.text(0), high, fmt.Sprintf("between second %.1f and %.1f", start.at, end.at), touching(span{start.at, end.at}))
}

// touching holds for stretches that share time with a span; with a span of no length, for those
// that hold its second.
func touching(t span) func(stretch) bool {
	return func(s stretch) bool {
		if t.from >= t.to || s.Start >= s.End {
			return s.Start <= t.to && s.End >= t.from
		}
		return s.Start < t.to && s.End > t.from
	}
}

func lowestBetween(l *look, a values) (any, error)  { return l.between(a, false) }
func highestBetween(l *look, a values) (any, error) { return l.between(a, true) }

func (l *look) while(a values, high bool) (any, error) {
	spans := l.record.while(a.text(1))
	if len(spans) == 0 {
		return nil, l.never(a.text(1))
	}
	i, _ := l.record.nextOn(a.text(1), 0)
	l.saw(l.record.events[i])
	return l.extreme(a.text(0), high, "while "+plain(a.text(1))+" was on", func(s stretch) bool {
		for _, t := range spans {
			if touching(t)(s) {
				return true
			}
		}
		return false
	})
}

func lowestWhile(l *look, a values) (any, error)  { return l.while(a, false) }
func highestWhile(l *look, a values) (any, error) { return l.while(a, true) }

func atStart(l *look, a values) (any, error) {
	m, _ := eye.MeasureIndex(a.text(0))
	opening := &l.record.timeline.Opening
	if !measured(opening) {
		return nil, l.miss("nothing was measured at the start")
	}
	info := eye.MeasureTable()[m]
	l.note(Evidence{Sort: Measured, Decision: -1, Second: l.record.start, Name: "at the start " + info.Name, Value: opening.After[m], Unit: info.Unit})
	return opening.After[m], nil
}

func atEnd(l *look, a values) (any, error) {
	m, _ := eye.MeasureIndex(a.text(0))
	for i := len(l.record.stretches) - 1; i >= 0; i-- {
		if s := l.record.stretches[i]; measured(s.Segment) {
			l.measured("at the end ", s, m, s.After[m])
			return s.After[m], nil
		}
	}
	return nil, l.miss("nothing was measured at all")
}
