package terminal

import (
	"fmt"
	"strings"
)

// Style says how to write: in plain text, or with bold and dim on a terminal. Nothing is said by colour.
type Style struct {
	Rich  bool
	Width int // columns, at least 40
}

func (s Style) bold(text string) string { return s.wrap("1", text) }
func (s Style) dim(text string) string  { return s.wrap("2", text) }

func (s Style) wrap(code, text string) string {
	if !s.Rich || text == "" {
		return text
	}
	return "\x1b[" + code + "m" + text + "\x1b[0m"
}

func (s Style) width() int { return min(max(s.Width, 40), 100) }

func (s Style) rule() string { return s.dim(strings.Repeat("─", s.width())) }

// hang folds text under a head: the head stands before the first line, and the rest stands in as far.
func (s Style) hang(text, head string) string {
	indent := strings.Repeat(" ", len([]rune(head)))
	return head + strings.TrimPrefix(s.fold(text, indent), indent)
}

// fold breaks text at spaces into lines of the style's width, each begun with indent.
func (s Style) fold(text, indent string) string {
	room := s.width() - len([]rune(indent))
	var lines []string
	for paragraph := range strings.SplitSeq(strings.TrimSpace(text), "\n") {
		line := ""
		for _, w := range strings.Fields(paragraph) {
			if line != "" && len([]rune(line))+1+len([]rune(w)) > room {
				lines = append(lines, indent+line)
				line = ""
			}
			if line != "" {
				line += " "
			}
			line += w
		}
		lines = append(lines, indent+line)
	}
	return strings.Join(lines, "\n")
}

// clock writes seconds as minutes and seconds.
func clock(seconds float64) string {
	s := int(seconds)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
