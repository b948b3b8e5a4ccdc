package rubric

import (
	"strings"

	"zonule/scenarios/play"
)

// The functions that ask what was decided and how the drill ended.

func chose(l *look, a values) (any, error) {
	return happened(l, values{choicePrefix + a.text(0)})
}

// tally counts the decisions that stand and for which is holds, and notes each.
func (l *look) tally(name string, is func(s *play.Step) bool) (any, error) {
	n := 0.0
	for _, s := range l.record.steps {
		if !is(s) {
			continue
		}
		n++
		l.note(Evidence{Sort: Stated, Decision: s.Index, Second: l.record.decided(s), Name: name, Text: strings.TrimSpace(s.Say)})
	}
	l.counted(name, n)
	return n, nil
}

func stanceCount(l *look, a values) (any, error) {
	return l.tally(a.text(0)+" decisions", func(s *play.Step) bool { return string(s.Stance) == a.text(0) })
}

func timedOut(l *look, _ values) (any, error) {
	return l.tally("decisions left to the clock", func(s *play.Step) bool { return s.TimedOut })
}

func refused(l *look, _ values) (any, error) {
	return l.tally("decisions the eye refused", func(s *play.Step) bool { return s.Refused != "" })
}

func decisions(l *look, _ values) (any, error) {
	n := float64(len(l.record.steps))
	l.counted("decisions", n)
	return n, nil
}

func reasonGiven(l *look, a values) (any, error) {
	made := false
	for _, s := range l.record.steps {
		if s.Choice != a.text(0) {
			continue
		}
		made = true
		if reason := strings.TrimSpace(s.Reason); reason != "" {
			l.note(Evidence{Sort: Stated, Decision: s.Index, Second: l.record.decided(s), Name: "reason for " + plain(choicePrefix+s.Choice), Text: reason})
			return true, nil
		}
	}
	if !made {
		return nil, l.miss(plain(choicePrefix+a.text(0)) + " was not made")
	}
	l.absent("a reason for " + plain(choicePrefix+a.text(0)))
	return false, nil
}

func (l *look) ending() (string, error) {
	t := l.record.timeline
	if t.Ending == "" {
		return "", l.miss("the drill has not ended")
	}
	text := t.Ending
	if t.Safe {
		text += ", a safe ending"
	}
	l.stated("the ending", text)
	return t.Ending, nil
}

func ended(l *look, a values) (any, error) {
	ending, err := l.ending()
	if err != nil {
		return nil, err
	}
	return ending == a.text(0), nil
}

func safe(l *look, _ values) (any, error) {
	if _, err := l.ending(); err != nil {
		return nil, err
	}
	return l.record.timeline.Safe, nil
}

func clockOff(l *look, _ values) (any, error) {
	off := l.record.timeline.ClockOff
	text := "on"
	if off {
		text = "switched off"
	}
	l.stated("time limits", text)
	return off, nil
}
