package eye

import (
	"math"
	"strconv"
)

// strip aspirates 2 s at a sector and pulls its cortex off, along the rim or inward.
// A ring traps cortex.
func (e *Eye) strip(a Action) {
	sector := int(a.Num["sector"]) % 12
	radial := a.word("direction") == "radial"
	was := e.set
	e.change(func(s *settings) {
		s.pedal = 2
		s.clamped = s.clamped || a.word("way") == "dry"
	})
	e.pass(2)
	force := e.par.CortexPull * e.handFactor()
	if e.bag.ring {
		force *= 1.8
	}
	e.cortexPull = force
	t := tool{onRim: true, node: e.bag.node(float64(sector)), spread: 2, fr: -force, stop: 2}
	if !radial {
		t.fr, t.ft = -0.22*0.3*force, 0.22*0.95*force
	}
	peak := e.tug(&t)
	switch {
	case peak < 0.4:
		e.watch.onFor(e, fCortexComes, 0, 3)
	case peak > 0.6:
		e.watch.onFor(e, fCortexHolds, 0, 3)
	}
	e.pass(0.5)
	e.release()
	e.cortex[sector] = false
	e.change(func(s *settings) { s.pedal, s.clamped = was.pedal, was.clamped })
	hour := (sector+11)%12 + 1
	if radial {
		e.mark("stripped-radial", strconv.Itoa(hour)+" o'clock")
	} else {
		e.mark("stripped-tangential", strconv.Itoa(hour)+" o'clock")
	}
}

// placeRing leads a tension ring in; its leading end pushes outward at an hour.
func (e *Eye) placeRing(hour float64) {
	e.pass(3)
	e.tug(&tool{onRim: true, node: e.bag.node(hour), spread: 4, fr: 5 * e.handFactor(), stop: 1})
	e.pass(3)
	e.release()
	if e.lost || e.rent {
		e.mark("ring-abandoned", "")
		return
	}
	e.bag.ring = true
	e.rearranged()
	e.mark("ring-placed", "")
}

// placeHooks supports the bag at its edge: two in a gap of three hours or more, any
// others evenly around; without such a gap evenly around from the weak hour.
func (e *Eye) placeHooks(a Action) {
	middle, span := e.bag.longestGap()
	wide := span >= 3
	count := 4
	if wide {
		count = 2
	}
	if n, ok := a.Num["at"]; ok {
		count = int(n)
	}
	e.pass(2 * float64(count))
	n := float64(e.bag.n)
	if !wide {
		middle = e.weakHour() * n / 12
	}
	for k := range count {
		at := middle + float64(k)*n/float64(count)
		if wide && count > 1 && k < 2 {
			at = middle + (float64(k)-0.5)*span/3*n/12
		} else if wide && k >= 2 {
			at = middle + float64(k-1)*n/float64(count-1)
		}
		i := ((nearest(at) % e.bag.n) + e.bag.n) % e.bag.n
		e.bag.anchor[i] += e.par.AnchorK
	}
	e.bag.hooks = count
	e.rearranged()
	e.mark("hooks-placed", strconv.Itoa(count))
}

// implantLens puts the lens in: it pushes the core toward its haptic.
func (e *Eye) implantLens(a Action) {
	plane := a.Word["plane"]
	if plane == "none" {
		e.leftWithout = true
		e.pass(1)
		e.mark("left-without-implant", "")
		return
	}
	hour := e.hourOr(a, e.weakHour())
	force := 6 * e.handFactor()
	if plane != "bag" {
		force /= 2 // it unfolds before the capsule and leans on it
	}
	sn, cs := math.Sincos(2 * math.Pi * hour / 12)
	e.pass(3)
	e.tug(&tool{onCore: true, fx: force * sn, fy: force * cs, stop: 1})
	e.pass(3)
	e.release()
	e.imp = implant{plane: plane, node: e.bag.node(hour), single: a.word("lens") == "one-piece"}
	if plane == "bag" {
		e.bag.implant, e.bag.haptic = true, e.imp.node
	}
	e.wake()
	e.rearranged()
	e.mark("implanted", plane)
}

// sutureSegment holds the edge over two hours on each side of its middle from the wall of
// the eye.
func (e *Eye) sutureSegment(hour float64) {
	e.pass(40)
	middle, reach := e.bag.node(hour), e.bag.n/6
	for k := -reach; k <= reach; k++ {
		i := ((middle+k)%e.bag.n + e.bag.n) % e.bag.n
		e.bag.anchor[i] += e.par.SegmentK / float64(2*reach+1)
	}
	e.segments++
	e.rearranged()
	e.mark("segment-sutured", "")
}

// rearranged follows a change of what supports the bag.
func (e *Eye) rearranged() {
	e.watch.edgeSeen = false
	e.bag.changed()
	e.checkBag()
}
