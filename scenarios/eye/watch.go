package eye

import (
	"math"
	"strconv"
	"strings"
)

// historyLen samples of 20 ms are half a second.
const historyLen = 25

// watch is the eye of the surgeon: which findings are on, and what it takes to switch
// them without flicker.
type watch struct {
	shown  [numFindings]bool
	hour   [numFindings]float64
	quiet  [numFindings]float64 // may not come again before this second
	until  [numFindings]float64 // switches itself off at this second, when above 0
	depths [historyLen]float64
	pushes [historyLen]float64
	at     int
	filled int

	came, wasFull, strandHigh, edgeSeen bool
	beyond                              bool // something beyond the ordinary eye may be showing
	wobbleGrade                         int
	brokenReported                      int
	approach, approachSince             float64
	chatterSince                        float64
}

func (w *watch) start(e *Eye) {
	w.brokenReported = e.bag.broken
	w.came = e.vp > 0.3
	w.chatterSince = -1
}

func (w *watch) remember(depth, dP float64) {
	w.depths[w.at], w.pushes[w.at] = depth, dP
	w.at = (w.at + 1) % historyLen
	w.filled = min(w.filled+1, historyLen)
}

// swings gives the range of depth and pressure difference over the last half second,
// and by how much the depth fell within the last 0.1 s.
func (w *watch) swings() (depth, push, fall float64) {
	if w.filled == 0 {
		return 0, 0, 0
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	pl, ph := lo, hi
	for i := range w.filled {
		lo, hi = min(lo, w.depths[i]), max(hi, w.depths[i])
		pl, ph = min(pl, w.pushes[i]), max(ph, w.pushes[i])
	}
	last := w.depths[(w.at+historyLen-1)%historyLen]
	for k := 2; k <= 6 && k <= w.filled; k++ {
		fall = max(fall, w.depths[(w.at+historyLen-k)%historyLen]-last)
	}
	return hi - lo, ph - pl, fall
}

// on switches a finding on, unless it is on or was so less than 3 s ago.
func (w *watch) on(e *Eye, id int, hour float64) bool {
	if w.shown[id] || e.Time() < w.quiet[id] {
		return false
	}
	w.shown[id], w.hour[id] = true, hour
	w.quiet[id] = e.Time() + 3
	w.until[id] = 0
	if e.rec != nil {
		e.rec.Marks = append(e.rec.Marks, Mark{At: e.Time(), Name: findingTable[id].ID, Text: w.text(id)})
	}
	return true
}

// onFor switches a finding on for some seconds; while it is on it starts them again.
func (w *watch) onFor(e *Eye, id int, hour, seconds float64) {
	w.on(e, id, hour)
	if w.shown[id] {
		w.until[id] = e.Time() + seconds
	}
}

func (w *watch) off(e *Eye, id int) {
	if !w.shown[id] {
		return
	}
	w.shown[id], w.until[id] = false, 0
	if e.rec != nil {
		e.rec.Marks = append(e.rec.Marks, Mark{At: e.Time(), Name: findingTable[id].ID, Off: true})
	}
}

// set is hysteresis: on at one condition, off at another.
func (w *watch) set(e *Eye, id int, on, off bool) { w.setAt(e, id, on, off, 0) }

func (w *watch) setAt(e *Eye, id int, on, off bool, hour float64) {
	switch {
	case w.shown[id] && off:
		w.off(e, id)
	case !w.shown[id] && on:
		w.on(e, id, hour)
	}
}

// text fills in the clock hour, and for the wobble its grade.
func (w *watch) text(id int) string {
	if id == fWobbles && w.wobbleGrade > 1 {
		return [...]string{"The lens wobbles widely.", "The lens swings freely."}[w.wobbleGrade-2]
	}
	h := nearest(w.hour[id]) % 12
	if h <= 0 {
		h += 12
	}
	return strings.ReplaceAll(findingTable[id].Pattern, "{hour}", strconv.Itoa(h))
}

// Showing lists the findings on now, in catalogue order.
func (e *Eye) Showing() []Finding {
	var fs []Finding
	for id, on := range e.watch.shown {
		if on {
			fs = append(fs, Finding{findingTable[id].ID, e.watch.text(id)})
		}
	}
	return fs
}
