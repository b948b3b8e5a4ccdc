package eye

import (
	"math"

	"zonule/scenarios/eye/ode"
)

const (
	tick      = 0.002 // s, the short step
	longTicks = 10    // ticks of the calm step
)

// step advances the eye by n ticks in one step: the fast system by ROS2, then the slow
// states by explicit Euler with the flows at the start of the step (the closing of the
// port with its exact exponential).
func (e *Eye) step(n int64) {
	h := float64(n) * tick
	in, gapOut := e.flowsIn(h)
	e.port()
	e.fl.in = in
	e.qa = (e.pa - e.p) * e.fl.invRa
	e.ql = e.pa * e.fl.leak(e.pa)
	y := ode.ROS2(&e.fl, ode.State{A: e.x, B: e.p, C: e.q}, h)
	quiet := math.Abs(y.A-e.x) < 40*h && math.Abs(y.B-e.p) < 40*h && math.Abs(y.C-e.q) < 200*h
	e.x, e.p, e.q = y.A, y.B, y.C
	e.fl.u += h * gapOut
	e.viscoelastic(h)
	e.vitreous(h)
	if e.awake {
		e.beyond(h)
	}
	e.nucleus(h)
	e.energy(h)
	e.settle()
	e.capsule(h)
	e.tally(h)
	if e.fl.drawing {
		want := e.set.flow * uLsPerMLM
		e.fl.pump += (want - e.fl.pump) * min(1, h/e.par.Ramp)
	}
	if quiet && !e.lively() {
		e.calm++
	} else {
		e.calm = 0
	}
}

// lively reports whether something is going on that long steps would blur: an open
// wound, lens matter at the port, gel being drawn or pushed back.
func (e *Eye) lively() bool {
	s := &e.set
	return e.occl >= 1e-3 || e.injecting > 0 && e.hyaloid || s.wound == woundOpen || s.drawing() && (e.count > 0 && s.tool == phacoTip || e.vp > 0.3)
}

// port sets the conductances of port and leak from viscoelastic, strand, lens matter
// and the flatness of the chamber.
func (e *Eye) port() {
	p, f := e.par, &e.fl
	e.phi = 0
	plug, leakPlug := 1.0, 1.0
	if e.vo > 0 {
		e.phi = min(1, e.vo/e.room())
		p2 := e.phi * e.phi
		p4 := p2 * p2
		plug, leakPlug = 1+p.PortOVD*p2, 1+p.LeakOVD*p4*p4
	}
	f.ri = e.ri
	if e.set.tool == noTool {
		f.invRa = 0
	} else {
		closed := 1 - (1-e.occl)*(1-0.7*e.strand)
		open := (1-closed)*(1-closed) + 1e-4
		if free := (e.x + 0.97*p.VAC) / (0.1 * p.VAC); free < 1 {
			// A flat chamber blocks the port, and the sleeve when the bottle hangs too low.
			open *= max(1e-4, free)
			if e.q < 0 {
				f.ri /= max(1e-3, free)
			}
		}
		if e.iris.caught {
			open *= 0.1
		}
		f.invRa = open / (p.Ra * perMLMin * e.portFactor() * plug)
	}
	rw := p.RSealed
	switch e.set.wound {
	case woundClosed:
		rw = e.closedWound()
	case woundFilled:
		rw = p.RIn
	case woundOpen:
		rw = p.ROpen
	}
	if e.set.burping {
		rw = min(rw, p.ROpen)
	}
	f.invRl = 1 / (perMLMin * rw * leakPlug)
	f.invRlIn = 1 / (perMLMin * min(rw, p.RIn))
}

func (e *Eye) portFactor() float64 {
	switch e.set.tool {
	case aspirationTip:
		return e.par.RaAspiration
	case cutter:
		return e.par.RaCut
	}
	return 1
}

// tally keeps the counters of the run.
func (e *Eye) tally(h float64) {
	if e.depth < 1.5 {
		e.shallow += h
	}
	if e.pa > 65 {
		e.hard += h
	}
	e.lowDepth = min(e.lowDepth, e.depth)
	e.highIOP = max(e.highIOP, e.pa)
	e.lowIOP = min(e.lowIOP, e.pa)
	d := e.strainingP()
	e.dPLow, e.dPHigh = min(e.dPLow, d), max(e.dPHigh, d)
}
