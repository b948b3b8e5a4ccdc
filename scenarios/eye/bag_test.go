package eye

import (
	"math"
	"testing"
)

func TestTable67(t *testing.T) {
	sh := newShape(DefaultParams())
	for _, ring := range []bool{false, true} {
		for h := 0.0; h <= 8; h++ {
			b := sh.newBag()
			b.ring = ring
			b.open(h, 6, 1)
			nh := 6 + h/2 + 1.0/6
			b2 := b.clone()
			for i := range b2.strength {
				_ = i
			}
			tl := &tool{onRim: true, node: sh.node(nh), spread: 1, fr: -2}
			b.rest()
			b.under(tl)
			b.pushed(0, tl)
			r, _, l := b.ratios(b.ws.u, b.ws.v, b.ws.w)
			t.Logf("%v %g: load %.3f ratio %.3f offset %.3f gap %.2f index %.2f", ring, h, l, r, math.Hypot(b.offX, b.offY), b.gapArea(0), b.wobbleIndex())
		}
	}
}
func BenchmarkRest(b *testing.B) {
	sh := newShape(DefaultParams())
	g := sh.newBag()
	g.open(3, 6, 1)
	for b.Loop() {
		g.changed()
		g.rest()
	}
}
func BenchmarkSway(b *testing.B) {
	sh := newShape(DefaultParams())
	g := sh.newBag()
	g.open(3, 6, 1)
	for b.Loop() {
		g.swayed = false
		g.wobbleIndex()
	}
}
