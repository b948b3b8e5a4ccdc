package author

import (
	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// turn is one choice taken once against the author's way, which is followed before and after: what that alone
// changed in the marks, in the eye's harm index and in critical errors.
type turn struct {
	stage, choice string
	own           bool // it is what the author's way takes itself
	mean, harm    float64
	critical      int
}

func isPassedOver(m eye.Mark) bool { return m.Name == script.PassedOver }

// turns follows the author's way, then the other policies', and at each stage not met before takes every option
// once, ending by the author's way; the policy's own pick ended the same way is what it is compared with. It
// gives the run of the author's way itself.
func (w *walker) turns(r root) (base run, all []turn) {
	met := map[string]bool{}
	author := w.policy
	for i, p := range w.plan.Policies {
		d := w.begin(r)
		for n := 0; d != nil && !d.Ended() && n < MaxDecisions; n++ {
			w.policy = author
			if stage := d.Stage(); !met[stage] {
				met[stage] = true
				all = append(all, w.turnsAt(d, stage)...)
			}
			w.policy = p
			s := d.Scene()
			if !w.take(d, s, w.own(d, s)) {
				return base, all
			}
		}
		w.policy = author
		if end, ok := w.finish(d); ok && i == 0 {
			base = end
		}
	}
	return base, all
}

// turnsAt takes every option of a scene once.
func (w *walker) turnsAt(d *play.Drill, stage string) []turn {
	s := d.Scene()
	own := w.own(d, s)
	base, ok := w.finish(w.decide(d, s, own))
	if !ok {
		return nil
	}
	all := []turn{{stage: stage, choice: own, own: true}}
	for _, id := range w.options(d, s) {
		if id == own {
			continue
		}
		if got, ok := w.finish(w.decide(d, s, id)); ok {
			all = append(all, turn{stage, id, false, got.mean - base.mean, got.harm - base.harm, len(got.critical) - len(base.critical)})
		}
	}
	return all
}
