package author

import (
	"fmt"
	"strings"
)

// svg writes elements with lengths in millimetres to a hundredth.
type svg struct{ b strings.Builder }

func (s *svg) line(format string, args ...any) {
	fmt.Fprintf(&s.b, format, args...)
	s.b.WriteByte('\n')
}

var escapes = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// text writes one line of words; class sets size and weight.
func (s *svg) text(x, y float64, class, words string) {
	s.line(`<text x="%.2f" y="%.2f" class="%s">%s</text>`, x, y, class, escapes.Replace(words))
}

// path draws a line through points.
func (s *svg) path(class string, points ...[2]float64) {
	var d strings.Builder
	for i, p := range points {
		fmt.Fprintf(&d, "%s%.2f %.2f", map[bool]string{true: "M", false: "L"}[i == 0], p[0], p[1])
	}
	s.line(`<path d="%s" class="%s"/>`, d.String(), class)
}

// width estimates how wide words are in a sans-serif face of a size, somewhat generously: there is no font here
// to ask.
func width(words string, size float64) float64 {
	w := 0.0
	for _, r := range words {
		switch {
		case strings.ContainsRune("iljtfrI.,:;'!|()[]/ ", r):
			w += 0.33
		case strings.ContainsRune("mwMW@%", r):
			w += 0.9
		case r >= 'A' && r <= 'Z':
			w += 0.72
		default:
			w += 0.57
		}
	}
	return w * size
}

// wrap breaks words into lines no wider than room, and at most so many; what is left over ends in an ellipsis.
func wrap(words string, size, room float64, most int) []string {
	var lines []string
	line := ""
	for _, w := range strings.Fields(words) {
		longer := strings.TrimSpace(line + " " + w)
		if line != "" && width(longer, size) > room {
			lines = append(lines, line)
			longer = w
		}
		line = longer
	}
	if line != "" {
		lines = append(lines, line)
	}
	if len(lines) > most {
		lines = lines[:most]
		lines[most-1] += " …"
	}
	return lines
}
