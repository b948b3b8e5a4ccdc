package eye

import "math"

// implant is a lens that does not lie in the bag, and what any lens does.
type implant struct {
	plane  string // "", "bag", "sulcus" or "capture"
	node   int    // of one haptic
	single bool   // one-piece, thick haptics
	slip   float64
	gone   bool
}

// implantSupport says how well the implant is held, 0..1; half is the least that keeps it
// in place. In the bag it goes by wobble and offset; haptics in the sulcus go by the
// zonules (or hooks, or segments) within an hour on each side of both; an optic caught in
// the capsulotomy hangs on all of them together.
func (e *Eye) implantSupport() float64 {
	if e.lost || e.imp.gone {
		return 0
	}
	b := e.bag
	switch e.imp.plane {
	case "bag":
		return min(1, 1.3/math.Max(b.wobble, 1e-9), 0.225/math.Max(e.offset(), 1e-9))
	case "sulcus":
		s := min(b.heldNear(e.imp.node), b.heldNear(e.imp.node+b.n/2))
		if e.spec.CapsulotomyTorn {
			s *= 0.7
		}
		return s
	case "capture":
		held := 0
		for i := range b.n {
			held += b.held(i)
		}
		return min(1, max(0, 2*(float64(held)/float64(b.n)-0.25)))
	}
	return 0
}

// held is 1 where something holds the edge of the bag.
func (b *bag) held(i int) int {
	i = (i%b.n + b.n) % b.n
	if b.alive[i] || b.anchor[i] > 0 {
		return 1
	}
	return 0
}

// heldNear is the share of the edge held within an hour on each side.
func (b *bag) heldNear(node int) float64 {
	reach, held := b.n/12, 0
	for k := -reach; k <= reach; k++ {
		held += b.held(node + k)
	}
	return float64(held) / float64(2*reach+1)
}

// slide lets an implant before the bag slip toward where nothing holds it.
func (e *Eye) slide(h float64) {
	m := &e.imp
	want := 3 * max(0, 1-2*e.implantSupport())
	m.slip += (want - m.slip) * min(1, h/5)
	if m.slip > 2.4 {
		m.gone = true
		e.mark("implant-lost", "")
		e.watch.on(e, fImplantDrops, 0)
	}
}

// outsideBag reports whether the implant lies before the bag and is still there.
func (e *Eye) outsideBag() bool {
	return (e.imp.plane == "sulcus" || e.imp.plane == "capture") && !e.imp.gone
}

// turnImplant dials the implant so that a haptic lies at another hour.
func (e *Eye) turnImplant(hour float64) {
	e.pass(4)
	e.imp.node = e.bag.node(hour)
	if e.imp.plane == "bag" {
		e.bag.haptic = e.imp.node
		e.rearranged()
	}
	e.wake()
	e.mark("implant-turned", "")
	e.pass(8)
}
