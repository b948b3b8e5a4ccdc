package dashboard

import (
	"strings"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// seen is something that could be seen or heard, or was done, at its second.
type seen struct {
	At, Text string
	Gone     bool // it went away
	Signal   bool // it was done or recorded rather than seen
}

// sight reads marks in time order and remembers how each finding read when it came, because a mark of its going has no
// words of its own.
type sight map[string]string

func (s sight) read(marks []*drillv1.Mark) []seen {
	var out []seen
	for _, m := range marks {
		text := strings.TrimSpace(m.GetText())
		one := seen{At: seconds(m.GetAtS()), Text: text, Gone: m.GetOff()}
		switch {
		case m.GetOff() && text == "":
			one.Text = s[m.GetName()]
			if one.Text == "" {
				one.Text = plain(m.GetName())
			}
		case isSentence(text):
			s[m.GetName()] = text
		default: // a signal, with a detail such as an amount or a clock hour
			one.Text, one.Signal = plain(m.GetName()), true
			if text != "" {
				one.Text += ": " + strings.ReplaceAll(text, " uL", nb+"µL")
			}
		}
		out = append(out, one)
	}
	return out
}

// isSentence tells what a person would see, which the eye's findings put in sentences, from a signal's detail.
func isSentence(text string) bool { return strings.HasSuffix(text, ".") }
