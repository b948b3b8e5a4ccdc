package author

import (
	"fmt"

	"zonule/scenarios/script"
)

// The sheet the drawing is made for: A3, in millimetres.
const (
	sheetShort = 297.0
	sheetLong  = 420.0
)

const style = `text{font-family:"Helvetica Neue",Helvetica,Arial,sans-serif;fill:#111}
.title{font-size:5px;font-weight:700}.name{font-size:3.3px;font-weight:700}.body{font-size:2.8px}.small{font-size:2.4px;fill:#333}.to{font-size:2.6px;font-weight:700;text-anchor:end}.it{font-size:2.4px;font-style:italic;fill:#333}
.box{fill:#fff;stroke:#111;stroke-width:.35}.way{stroke-width:.9}.off{stroke-dasharray:1.6 1}.safe{fill:#eef4f8}.bar{fill:#111}
path{fill:none;stroke-linejoin:round}.lane{stroke:#555;stroke-width:.4}.head,.dot{fill:#555;stroke:none}
.preferred{stroke:#005a8c;stroke-width:.8}.acceptable{stroke:#005a8c;stroke-width:.4}.suboptimal{stroke:#8a5a00;stroke-width:.45;stroke-dasharray:2.4 1.2}.harmful{stroke:#a33a00;stroke-width:.5;stroke-dasharray:1 .9}.critical{stroke:#a00030;stroke-width:.8;stroke-dasharray:3 .9 .7 .9}.clock{stroke:#333;stroke-width:.5;stroke-dasharray:.2 1.1;stroke-linecap:round}
.mark{stroke-width:.5;stroke-dasharray:none;fill:#fff}.full.preferred,.full.acceptable{fill:#005a8c}.full.harmful{fill:#a33a00}.full.critical{fill:#a00030}`

// Draw gives the scenario's branches as an SVG for an A3 sheet: each stage as a box with its cue, its choices
// beside it with their stance as a shape and a line style as well as a colour, and lines to where they were seen
// to lead ([Learn]); conditions stand in words where a choice leads to several places. The drawing gives the
// case away: it is for teachers. The same scenario and ways give the same bytes.
func Draw(sc *script.Scenario, ways Ways) []byte {
	s := &svg{}
	l, wide, high, scale := fitted(sc, ways, header(&svg{}, sc))
	s.line(`<svg xmlns="http://www.w3.org/2000/svg" width="%.0fmm" height="%.0fmm" viewBox="%.2f 0 %.2f %.2f" role="img" aria-label="%s">`,
		wide, high, -(wide/scale-l.wide)/2, wide/scale, high/scale, escapes.Replace("Branches of "+sc.ID+": "+sc.Complication))
	s.line("<style>%s</style>", style)
	s.line(`<rect x="%.2f" width="100%%" height="100%%" fill="#fff"/>`, -(wide/scale-l.wide)/2)
	header(s, sc)
	for _, ln := range l.lanes {
		drawLane(s, ln)
	}
	for _, b := range l.bands {
		if b.stage == nil {
			drawEnding(s, b)
			continue
		}
		drawStage(s, b, b.name == sc.First)
		for _, r := range b.rows {
			drawRow(s, l, b, r)
		}
	}
	s.text(margin, l.high+2, "small", "For training only; not for use on or about a patient. Local protocols, device instructions and licensed supervision decide. Close and refer is open at every stage and is not drawn there.")
	s.line("</svg>")
	return []byte(s.b.String())
}

// header writes the title and the key, and gives the height they take.
func header(s *svg, sc *script.Scenario) float64 {
	s.text(margin, 12, "title", fmt.Sprintf("%s: %s", sc.ID, sc.Complication))
	y := 17.0
	for _, line := range wrap(sc.Teaches, bodySize, rowsAt+rowsWide-margin, 3) {
		s.text(margin, y, "body", line)
		y += lineHigh
	}
	s.text(margin, y, "small", fmt.Sprintf("For teachers: it gives the case away. Shown to the trainee as “%s”. Reviewed by: %s; due %s. Version %.12s.", sc.ShownAs, sc.ReviewedBy, sc.ReviewDue, sc.Digest))
	y += 5
	x := margin
	for _, k := range []struct{ stance, words string }{{"preferred", "preferred"}, {"acceptable", "acceptable with a reason"}, {"suboptimal", "suboptimal"}, {"harmful", "harmful"}, {"critical", "critical"}, {"clock", "the clock ran out"}} {
		glyph(s, k.stance, x+1.4, y-0.9)
		s.path(k.stance, [2]float64{x + 3.5, y - 0.9}, [2]float64{x + 13, y - 0.9})
		s.text(x+14.5, y, "small", k.words)
		x += 20 + width(k.words, smallSize)
	}
	y += 4.5
	s.line(`<rect x="%.2f" y="%.2f" width="6" height="3" rx="1" class="box way"/>`, margin, y-2.4)
	s.text(margin+7.5, y, "small", "on the author’s way")
	s.line(`<rect x="%.2f" y="%.2f" width="6" height="3" rx="1" class="box off"/>`, margin+36, y-2.4)
	s.text(margin+43.5, y, "small", "beside it")
	y += 4
	for _, t := range sc.Anywhere {
		s.text(margin, y, "it", fmt.Sprintf("At any time, when %s: to %s.", inWords(t.When), t.Go))
		y += 3.6
	}
	return y + 4
}

// glyph draws a stance as a shape: disc, ring, open triangle, full triangle, crossed square, dots for the clock.
func glyph(s *svg, stance string, x, y float64) {
	switch stance {
	case "preferred":
		s.line(`<circle cx="%.2f" cy="%.2f" r="1.3" class="mark full preferred"/>`, x, y)
	case "acceptable":
		s.line(`<circle cx="%.2f" cy="%.2f" r="1.2" class="mark acceptable"/>`, x, y)
	case "suboptimal", "harmful":
		full := map[bool]string{true: " full"}[stance == "harmful"]
		s.line(`<path d="M%.2f %.2fl1.4 2.5h-2.8z" class="mark%s %s" style="stroke-dasharray:none"/>`, x, y-1.5, full, stance)
	case "critical":
		s.line(`<path d="M%.2f %.2fh2.6v2.6h-2.6zl2.6 2.6m0 -2.6l-2.6 2.6" class="mark critical" style="stroke-dasharray:none"/>`, x-1.3, y-1.3)
	case "clock":
		s.line(`<circle cx="%.2f" cy="%.2f" r="1.3" class="mark" stroke="#333"/>`, x, y)
		s.line(`<path d="M%.2f %.2fv-0.9M%.2f %.2fh0.7" class="mark" stroke="#333"/>`, x, y, x, y)
	}
}

func drawStage(s *svg, b *band, first bool) {
	class := "box off"
	if b.onWay {
		class = "box way"
	}
	s.line(`<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" rx="1.5" class="%s"/>`, b.x, b.y, b.wide, b.high, class)
	name := b.name
	if first {
		name += " (the drill begins here)"
	}
	s.text(b.x+2.5, b.y+4.2, "name", name)
	y := b.y + 8.3
	for _, line := range b.lines {
		s.text(b.x+2.5, y, "body", line)
		y += lineHigh
	}
	for _, line := range b.below {
		s.text(b.x+2.5, y, "it", line)
		y += 3.2
	}
}

func drawEnding(s *svg, b *band) {
	word, class := "not safe", "box"
	if b.ending.Safe {
		word, class = "safe", "box safe"
	}
	s.line(`<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" rx="%.2f" class="%s"/>`, b.x, b.y, b.wide, b.high, min(b.high/2, 4), class)
	if b.ending.Safe {
		s.line(`<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" rx="%.2f" fill="none" stroke="#111" stroke-width=".25"/>`, b.x+0.8, b.y+0.8, b.wide-1.6, b.high-1.6, min(b.high/2, 4)-0.8)
	}
	s.text(b.x+4, b.y+4.4, "name", "Ending: "+b.name+" ("+word+")")
	y := b.y + 8.4
	for _, line := range b.lines {
		s.text(b.x+4, y, "body", line)
		y += lineHigh
	}
}

// drawRow writes a choice and its lines out to the lanes.
func drawRow(s *svg, l *layout, b *band, r row) {
	x := l.start[b.column] + rowsAt
	s.path(r.stance, [2]float64{b.x + b.wide, r.y - 1}, [2]float64{x + 1, r.y - 1})
	glyph(s, r.stance, x+2.4, r.y-1)
	for i, line := range r.lines {
		class := "body"
		if i >= r.said {
			class = "it"
		}
		s.text(x+5, r.y+lineHigh*float64(i), class, line)
	}
	for _, e := range r.exits {
		from := x + 5 + width(r.lines[0], bodySize) + 2
		if len(e.under) > 0 {
			from = x + 9 + width(e.under[0], smallSize) + 3
		}
		for j, line := range e.under {
			s.text(x+9, e.y+3.3*float64(j), "it", line)
		}
		drawExit(s, l, b, r, e, from)
	}
}

func drawExit(s *svg, l *layout, b *band, r row, e exit, from float64) {
	end := l.start[b.column] + rowsAt + rowsWide - 2
	ln, ok := l.lane(b.column, e.to)
	words := e.to
	switch {
	case e.to == b.name:
		words, ok = "stays here ↺", false
	case e.to == script.GoEnding:
		words = "an ending"
	case !ok:
		words = "back to " + e.to + " ↖"
	}
	if label := end - width(words, 2.8); from < label-3 {
		s.path(r.stance, [2]float64{from, e.y - 1}, [2]float64{label - 1.5, e.y - 1})
	}
	s.text(end, e.y, "to", words)
	if !ok {
		return
	}
	s.path(r.stance, [2]float64{end + 1.2, e.y - 1}, [2]float64{ln.x, e.y - 1})
	s.line(`<circle cx="%.2f" cy="%.2f" r=".65" class="dot"/>`, ln.x, e.y-1)
}

// drawLane draws the upright line to a band and its arrow into the top of the box: from the right in its own
// column, from the left into the next one.
func drawLane(s *svg, ln *lane) {
	y := ln.to.y - 2.6
	x := ln.to.x + boxWide*0.7
	if ln.to.column > ln.from {
		x = ln.to.x + 6
	}
	s.path("lane", [2]float64{ln.x, ln.top}, [2]float64{ln.x, ln.end})
	s.path("lane", [2]float64{ln.x, y}, [2]float64{x, y}, [2]float64{x, ln.to.y - 1.2})
	s.line(`<path d="M%.2f %.2fh2.2l-1.1 1.7z" class="head"/>`, x-1.1, ln.to.y-1.8)
}
