package author

import (
	"testing"

	"zonule/scenarios/library"
)

// Complete drills a second on one core, for each scenario of the library, without a judge:
//
//	turns   the author's way and every single turn away from it, each played to its end
//	tree    every way through three decisions, each played to its end by the author's way
//	chance  drills by chance that share their beginnings
//	ends    every way through the last decisions of the author's way: drills that share nearly all
func BenchmarkDrills(b *testing.B) {
	items, err := library.All()
	if err != nil {
		b.Fatal(err)
	}
	for _, it := range items {
		for name, play := range map[string]func(*walker, root){
			"turns":  func(w *walker, r root) { w.turns(r) },
			"tree":   func(w *walker, r root) { w.tree(w.begin(r), 3) },
			"chance": func(w *walker, r root) { w.byChance(r, 300, newChance(r)) },
			"ends":   func(w *walker, r root) { w.ends(r, 3) },
		} {
			b.Run(it.ID+"-"+name, func(b *testing.B) {
				drills, decisions := 0, 0
				for b.Loop() {
					w := newWalker(it.Scenario, Plan{Policies: it.Policies})
					play(w, root{"usual", 1})
					drills += len(w.runs)
					for _, n := range w.taken {
						decisions += n
					}
				}
				b.ReportMetric(float64(drills)/b.Elapsed().Seconds(), "drills/s")
				b.ReportMetric(float64(decisions)/b.Elapsed().Seconds(), "decisions/s")
				b.ReportMetric(0, "ns/op")
			})
		}
	}
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
