package author

import (
	"fmt"
	"syscall"
	"testing"

	"zonule/scenarios/library"
)

// Complete drills a second on one core, by the processor time they cost (a shared machine's clock says nothing about a
// core), for each scenario of the library, without a judge:
//
//	single  the author's way from its beginning, nothing shared
//	turns   the author's way and every single turn away from it, each played to its end
//	tree    every way through three decisions, each played to its end by the author's way
//	chance  drills by chance that share their beginnings
//	ends    every way through the last decisions of the author's way: drills that share nearly all
func BenchmarkDrills(b *testing.B) {
	items, err := library.All()
	if err != nil {
		b.Fatal(err)
	}
	shapes := []struct {
		name string
		play func(*walker, root)
	}{
		{"single", func(w *walker, r root) { w.finish(w.begin(r)) }},
		{"turns", func(w *walker, r root) { w.turns(r) }},
		{"tree", func(w *walker, r root) { w.tree(w.begin(r), 3) }},
		{"chance", func(w *walker, r root) { w.byChance(r, 300, newChance(r)) }},
		{"ends", func(w *walker, r root) { w.ends(r, 3) }},
	}
	for _, it := range items {
		for _, shape := range shapes {
			b.Run(fmt.Sprintf("%s/%s", it.ID, shape.name), func(b *testing.B) {
				drills, decisions, begun := 0, 0, processor(b)
				for b.Loop() {
					w := newWalker(it.Scenario, Plan{Policies: it.Policies})
					shape.play(w, root{"usual", 1})
					drills += len(w.runs)
					for _, n := range w.taken {
						decisions += n
					}
				}
				spent := processor(b) - begun
				b.ReportMetric(float64(drills)/spent, "drills/s")
				b.ReportMetric(float64(decisions)/spent, "decisions/s")
			})
		}
	}
}

// processor gives the processor seconds spent so far, the collector's included.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	seconds := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return seconds(u.Utime) + seconds(u.Stime)
}

// ends plays the author's way to so many decisions before its end, and every way from there.
func (w *walker) ends(r root, last int) {
	stop := w.length(r) - last
	d := w.begin(r)
	for range stop {
		s := d.Scene()
		w.take(d, s, w.own(d, s))
	}
	w.tree(d, last+2)
}
