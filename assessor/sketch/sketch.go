// Package sketch reads a timeline from a few lines of text, so that the judge's tests and examples
// can show a drill as data that a person can read. Nothing that runs at a bench uses it.
//
//	scenario weak-sector
//	open folds@-2 aspirating=1
//	0-3 think: aspiration-off@1.8 chamber_depth_mm=2.4..3.1>2.9
//	3-6 chose hold preferred "I saw folds": viscoelastic@5
//	ending bag-saved safe
//
// A line of a decision has its seconds and then the marks and measures of that stretch. A mark is
// name@second, with a minus sign before the name when a finding goes. A measure is low..high>after,
// or one value for all three; a measure that is not named keeps the value it had after the stretch
// before, as if a decision taken back had not been. A think line belongs to the decision on the
// next chose or free line. After the choice may stand its stance, a reason in quotes, and the words
// undone, refused and timed-out.
package sketch

import (
	"fmt"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
)

// Timeline reads a sketch. The error names the line.
func Timeline(text string) (play.Timeline, error) {
	r := &reader{t: play.Timeline{ScenarioID: "sketch", Model: eye.Model}}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		if err := r.line(line); err != nil {
			return play.Timeline{}, fmt.Errorf("line %d of the sketch, %q: %w", i+1, line, err)
		}
	}
	return r.t, nil
}

type reader struct {
	t        play.Timeline
	last     eye.Measures // after the stretch before
	decided  eye.Measures // after the last decision that stands
	thinking play.Segment
}

func (r *reader) line(line string) error {
	word, rest, _ := strings.Cut(line, " ")
	switch word {
	case "scenario":
		r.t.ScenarioID = rest
		return nil
	case "clock-off":
		r.t.ClockOff = true
		return nil
	case "ending":
		name, safe, _ := strings.Cut(rest, " ")
		r.t.Ending, r.t.Safe = name, safe == "safe"
		return nil
	case "open":
		err := r.segment(&r.t.Opening, 0, 0, rest)
		r.decided = r.last
		return err
	}
	from, to, ok := strings.Cut(word, "-")
	start, err1 := strconv.ParseFloat(from, 64)
	end, err2 := strconv.ParseFloat(to, 64)
	if !ok || err1 != nil || err2 != nil {
		return fmt.Errorf("it begins with neither a known word nor seconds like 0-3")
	}
	head, body, _ := strings.Cut(rest, ":")
	if head == "think" {
		return r.segment(&r.thinking, start, end, body)
	}
	return r.step(head, body, start, end)
}

func (r *reader) step(head, body string, start, end float64) error {
	s := play.Step{Index: len(r.t.Steps), Thinking: r.thinking}
	r.thinking = play.Segment{}
	if before, quoted, ok := strings.Cut(head, `"`); ok {
		reason, after, closed := strings.Cut(quoted, `"`)
		if !closed {
			return fmt.Errorf("the reason has no closing quote")
		}
		s.Reason, head = reason, before+after
	}
	words := strings.Fields(head)
	switch {
	case len(words) >= 2 && words[0] == "chose":
		s.Choice, s.Say, words = words[1], words[1], words[2:]
	case len(words) >= 1 && words[0] == "free":
		words = words[1:]
	default:
		return fmt.Errorf("after the seconds comes think, chose or free")
	}
	for _, w := range words {
		switch w {
		case "undone":
			s.Undone = true
		case "refused":
			s.Refused = "it cannot be done"
		case "timed-out":
			s.TimedOut = true
		default:
			s.Stance = play.Stance(w)
		}
	}
	s.Elapsed = start - s.Thinking.Start
	if err := r.segment(&s.Doing, start, end, body); err != nil {
		return err
	}
	r.t.Steps = append(r.t.Steps, s)
	if s.Undone {
		r.last = r.decided // as if it had not been
	}
	r.decided = r.last
	return nil
}

// segment fills one stretch; measures carry over from the one before.
func (r *reader) segment(s *play.Segment, start, end float64, body string) error {
	s.Start, s.End = start, end
	i, _ := eye.MeasureIndex("time_s")
	r.last[i] = end + 1 // the eye was there before the drill began
	s.Low, s.High, s.After = r.last, r.last, r.last
	for _, f := range strings.Fields(body) {
		if name, value, ok := strings.Cut(f, "="); ok {
			if err := measure(s, name, value); err != nil {
				return err
			}
			continue
		}
		name, at, _ := strings.Cut(f, "@")
		second, err := strconv.ParseFloat(at, 64)
		if err != nil {
			return fmt.Errorf("%q is neither a mark like folds@1.8 nor a measure like pedal=2", f)
		}
		bare := strings.TrimPrefix(name, "-")
		s.Marks = append(s.Marks, eye.Mark{At: second, Name: bare, Off: bare != name})
	}
	r.last = s.After
	return nil
}

func measure(s *play.Segment, name, value string) error {
	i, ok := eye.MeasureIndex(name)
	if !ok {
		return fmt.Errorf("%q is no measure", name)
	}
	span, after, _ := strings.Cut(value, ">")
	low, high, _ := strings.Cut(span, "..")
	if high == "" {
		high = low
	}
	if after == "" {
		after = high
	}
	for _, v := range []struct {
		text string
		into *eye.Measures
	}{{low, &s.Low}, {high, &s.High}, {after, &s.After}} {
		x, err := strconv.ParseFloat(v.text, 64)
		if err != nil {
			return fmt.Errorf("%q is no value of %s", v.text, name)
		}
		v.into[i] = x
	}
	return nil
}
