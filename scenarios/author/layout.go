package author

import (
	"fmt"
	"slices"
	"strings"

	"zonule/scenarios/script"
)

// Measures of the drawing, in millimetres before it is fitted to the sheet.
const (
	margin    = 9.0
	boxWide   = 92.0
	indent    = 7.0         // of a stage that is not on the author's way
	rowsAt    = boxWide + 5 // from the left of the column
	rowsWide  = 118.0
	laneWide  = 3.2
	lineHigh  = 3.7
	rowGap    = 1.3
	bandGap   = 7.0
	bodySize  = 2.8
	smallSize = 2.4
	nameSize  = 3.3
)

// band is a stage or an ending in the drawing: a box at the left, and for a stage its rows of choices beside it.
type band struct {
	name   string
	stage  *script.Stage // nil for an ending
	ending script.Ending
	onWay  bool
	lines  []string // the cue or the ending's words
	below  []string // small print under the cue
	rows   []row
	column int
	x, y   float64
	wide   float64
	high   float64
}

// row is one choice with where it leads.
type row struct {
	id, stance string
	lines      []string
	said       int // of the lines; the others are small print
	exits      []exit
	y          float64
}

// exit is one place a row leads to; under is the condition in words, where a row leads to several places.
type exit struct {
	to    string
	under []string
	y     float64
}

// lane is the upright line that gathers all that leads from one column to one band.
type lane struct {
	to       *band
	from     int // column
	top, end float64
	track    int // 0 is the innermost
	x        float64
}

// layout is the plan of the drawing: bands one below the other in one or two columns, lanes at the right of each.
type layout struct {
	sc    *script.Scenario
	bands []*band
	lanes []*lane
	start []float64 // x of each column
	wide  float64
	high  float64
}

func newLayout(sc *script.Scenario, ways Ways, top float64, columns int) *layout {
	l := &layout{sc: sc, start: make([]float64, columns)}
	on := ways.own
	for _, name := range layered(sc, ways) {
		st, _ := sc.Stage(name)
		l.bands = append(l.bands, l.stageBand(st, ways, on[name]))
	}
	for _, e := range drawnEndings(sc) {
		l.bands = append(l.bands, &band{name: e.ID, ending: e, onWay: on[e.ID], lines: wrap(bare(e.Says), bodySize, boxWide+rowsWide-4, 3)})
	}
	l.place(top, columns)
	l.route()
	return l
}

// fitted gives the layout that comes out largest on a sheet, and the sheet: upright or lying, one column or two.
func fitted(sc *script.Scenario, ways Ways, top float64) (best *layout, wide, high, scale float64) {
	for _, try := range []struct {
		columns    int
		wide, high float64
	}{{1, sheetShort, sheetLong}, {2, sheetLong, sheetShort}, {2, sheetShort, sheetLong}} {
		l := newLayout(sc, ways, top, try.columns)
		if k := min(try.wide/l.wide, try.high/(l.high+8), 1.15); k > scale {
			best, wide, high, scale = l, try.wide, try.high, k
		}
	}
	return best, wide, high, scale
}

func drawnEndings(sc *script.Scenario) []script.Ending {
	all := slices.Clone(sc.Endings)
	if !slices.ContainsFunc(all, func(e script.Ending) bool { return e.ID == script.SafeEnding }) {
		e, _ := sc.Ending(script.SafeEnding)
		all = append(all, e)
	}
	return all
}

// layered orders the stages: each after all that lead to it, ways that go back left out; stages of equal depth
// in the order of the text.
func layered(sc *script.Scenario, ways Ways) []string {
	next := map[string][]string{}
	for _, st := range sc.Stages {
		next[st.Name] = leadsTo(sc, &st, ways)
	}
	depth, open := map[string]int{}, map[string]bool{}
	var visit func(name string, d int)
	visit = func(name string, d int) {
		if open[name] || next[name] == nil || d <= depth[name] && depth[name] > 0 {
			return
		}
		depth[name], open[name] = d, true
		for _, to := range next[name] {
			visit(to, d+1)
		}
		open[name] = false
	}
	visit(sc.First, 1)
	var names []string
	for _, st := range sc.Stages {
		names = append(names, st.Name)
	}
	slices.SortStableFunc(names, func(a, b string) int { return depth[a] - depth[b] })
	return names
}

// leadsTo lists the stages that a stage was seen to lead to, and those its transitions name.
func leadsTo(sc *script.Scenario, st *script.Stage, ways Ways) []string {
	to := []string{}
	add := func(name string) {
		if _, ok := sc.Stage(name); ok && name != st.Name && !slices.Contains(to, name) {
			to = append(to, name)
		}
	}
	for _, ch := range st.Choices {
		for _, w := range ways.led[place{st.Name, ch.ID}] {
			add(w.To)
		}
	}
	for _, t := range st.Next {
		add(t.Go)
	}
	if st.Clock != nil {
		add(st.Clock.Then)
	}
	return to
}

func (l *layout) stageBand(st *script.Stage, ways Ways, onWay bool) *band {
	b := &band{name: st.Name, stage: st, onWay: onWay, wide: boxWide}
	if !onWay {
		b.x, b.wide = indent, boxWide-indent
	}
	b.lines = wrap(bare(st.Cue), bodySize, b.wide-5, 6)
	b.below = smallPrint(st, b.wide-5)
	for _, ch := range st.Choices {
		r := row{id: ch.ID, stance: ch.Stance, lines: wrap(bare(ch.Say), bodySize, rowsWide-44, 2)}
		r.said = len(r.lines)
		if ch.When != nil {
			r.lines = append(r.lines, wrap("only if "+inWords(ch.When), smallSize, rowsWide-44, 2)...)
		}
		l.exits(&r, st, ways.led[place{st.Name, ch.ID}])
		b.rows = append(b.rows, r)
	}
	if st.Clock != nil {
		r := row{id: script.ClockRanOut, stance: "clock", said: 1, lines: []string{script.Amount{Number: st.Clock.Seconds, Unit: "s"}.String() + " pass without a decision"}}
		l.exits(&r, st, ways.led[place{st.Name, script.ClockRanOut}])
		if len(r.exits) == 0 {
			r.exits = []exit{{to: st.Clock.Then}}
		}
		b.rows = append(b.rows, r)
	}
	return b
}

// bare writes a cue without what the drill fills in: findings come from the eye, circumstances from the seed.
func bare(cue string) string {
	cue = strings.TrimSpace(strings.ReplaceAll(cue, "{findings}", ""))
	return strings.NewReplacer("{", "‹", "}", "›").Replace(cue)
}

// smallPrint says what else belongs to a stage: sentences added, what happens on arrival, the pedal, the panel.
func smallPrint(st *script.Stage, room float64) []string {
	var out []string
	say := func(words string) { out = append(out, wrap(words, smallSize, room, 3)...) }
	for _, also := range st.Also {
		say("If " + inWords(also.When) + ": " + bare(also.Say))
	}
	for _, a := range st.Arrive {
		when := ""
		if a.When != nil {
			when = ", if " + inWords(a.When)
			a.When = nil
		}
		say("On arrival" + when + ": " + strings.Trim(a.String(), "{}"))
	}
	if st.Pedal != nil {
		say("Foot in position " + st.Pedal.String() + " while the trainee thinks.")
	}
	if st.Panel != nil {
		words := "Panel votes: "
		if st.Panel.Illustrative {
			words = "Panel votes (invented, illustrative): "
		}
		for i, v := range st.Panel.Votes {
			if i > 0 {
				words += ", "
			}
			words += fmt.Sprintf("%s %d", v.Choice, v.Count)
		}
		say(words + ".")
	}
	return out
}

// exits fills in where a row leads; with several places each says on what condition.
// One that was never seen leads where the stage's transitions may lead, and says that it was not seen.
func (l *layout) exits(r *row, st *script.Stage, ways []Way) {
	if len(ways) == 0 && r.stance != "clock" {
		r.lines = append(r.lines, "not seen in play")
		for _, t := range st.Next {
			if !slices.ContainsFunc(ways, func(w Way) bool { return w.To == t.Go }) {
				ways = append(ways, Way{To: t.Go})
			}
		}
	}
	for _, w := range ways {
		e := exit{to: w.To}
		if len(ways) > 1 {
			e.under = wrap(ifWords(l.condition(st, w.To, r.stance == "clock")), smallSize, rowsWide-50, 2)
		}
		r.exits = append(r.exits, e)
	}
}

func ifWords(condition string) string {
	if condition == "otherwise" {
		return condition
	}
	return "if " + condition
}

// condition gives in words when a stage leads somewhere.
func (l *layout) condition(st *script.Stage, to string, clock bool) string {
	if clock && st.Clock != nil && st.Clock.Then == to {
		return "otherwise"
	}
	for _, t := range slices.Concat(l.sc.Anywhere, st.Next) {
		if t.Go == to {
			return inWords(t.When)
		}
		if _, ending := l.sc.Ending(to); ending && t.Go == script.GoEnding {
			return l.endingCondition(to)
		}
	}
	return "no condition holds"
}

func (l *layout) endingCondition(id string) string {
	e, _ := l.sc.Ending(id)
	return inWords(e.When)
}

// place gives every band and row its height and its place, from the top down, column by column.
func (l *layout) place(top float64, columns int) {
	total := 0.0
	for _, b := range l.bands {
		b.measure()
		total += b.high + bandGap
	}
	y, column := top, 0
	for _, b := range l.bands {
		if y > top && column < columns-1 && y-top+b.high/2 > total/float64(columns) {
			y, column = top, column+1
		}
		b.move(y, column)
		y += b.high + bandGap
		l.high = max(l.high, y)
	}
}

// measure gives a band and its rows their heights, as if it stood at the top.
func (b *band) measure() {
	if b.stage == nil {
		b.x, b.wide = 0, boxWide+rowsWide+5
		b.high = 7.6 + lineHigh*float64(len(b.lines))
		return
	}
	box := 7.2 + lineHigh*float64(len(b.lines)) + 3.2*float64(len(b.below))
	y := 1.0
	for i := range b.rows {
		r := &b.rows[i]
		r.y = y + 2.6
		high := lineHigh * float64(max(1, len(r.lines)))
		if len(r.exits) == 1 {
			r.exits[0].y = r.y
		} else {
			at := r.y + high
			for j := range r.exits {
				r.exits[j].y = at
				at += 3.3 * float64(max(1, len(r.exits[j].under)))
			}
			high = at - r.y
		}
		y += high + rowGap
	}
	b.high = max(box, y)
}

func (b *band) move(y float64, column int) {
	b.y, b.column = y, column
	for i := range b.rows {
		b.rows[i].y += y
		for j := range b.rows[i].exits {
			b.rows[i].exits[j].y += y
		}
	}
}

// gather makes the lanes: from every column to every band it leads to in the same column or the next. Ways back to
// an earlier column have none; their name at the end of the row says enough.
func (l *layout) gather() {
	for column := range l.start {
		for _, b := range l.bands {
			if b.column != column && b.column != column+1 {
				continue
			}
			ln, used := &lane{to: b, from: column, top: b.y - 2.6, end: b.y - 2.6, track: -1}, false
			for _, from := range l.bands {
				if from.column != column || from == b {
					continue
				}
				for _, r := range from.rows {
					for _, e := range r.exits {
						if e.to == b.name {
							used, ln.top, ln.end = true, min(ln.top, e.y-1), max(ln.end, e.y-1)
						}
					}
				}
			}
			if used {
				l.lanes = append(l.lanes, ln)
			}
		}
	}
}

// route gives each lane a track, the short ones inside, and the columns their places.
func (l *layout) route() {
	l.gather()
	byLength := slices.Clone(l.lanes)
	slices.SortStableFunc(byLength, func(a, b *lane) int { return int(10 * ((a.end - a.top) - (b.end - b.top))) })
	tracks := make([]int, len(l.start))
	for _, ln := range byLength {
		for track := 0; ln.track < 0; track++ {
			taken := slices.ContainsFunc(l.lanes, func(o *lane) bool {
				return o.from == ln.from && o.track == track && o.top < ln.end+2 && ln.top < o.end+2
			})
			if !taken {
				ln.track = track
				tracks[ln.from] = max(tracks[ln.from], track+1)
			}
		}
	}
	x := margin
	for i := range l.start {
		l.start[i] = x
		x += rowsAt + rowsWide + 4 + laneWide*float64(tracks[i]) + 4
	}
	l.wide = x - 4 + margin
	for _, ln := range l.lanes {
		ln.x = l.start[ln.from] + rowsAt + rowsWide + 4 + laneWide*(float64(ln.track)+0.5)
	}
	for _, b := range l.bands {
		b.x += l.start[b.column]
	}
}

func (l *layout) lane(from int, to string) (*lane, bool) {
	for _, ln := range l.lanes {
		if ln.from == from && ln.to.name == to {
			return ln, true
		}
	}
	return nil, false
}
