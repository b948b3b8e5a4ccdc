package author

import (
	"fmt"
	"math"
	"slices"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// MaxDecisions is where a drill that does not end is given up by the safe stop and counted as stuck.
const MaxDecisions = 60

// run is what became of one complete drill.
type run struct {
	ending   string
	safe     bool
	stuck    bool
	steps    int
	seconds  float64
	harm     float64
	mean     float64
	critical []string
	levels   []Level
	refused  []place // choices the eye could not do, or not whole
}

// place is a choice at a stage.
type place struct{ stage, choice string }

// walker plays one variant on one seed, in branches that share what they have in common.
type walker struct {
	sc     *script.Scenario
	plan   Plan
	policy play.Policy
	runs   []run
	taken  map[place]int  // decisions played, by stage and choice
	seen   map[string]int // decisions played, by stage
	fault  string         // the first decision that failed
}

func newWalker(sc *script.Scenario, plan Plan) *walker {
	return &walker{sc: sc, plan: plan, policy: plan.Policies[0], taken: map[place]int{}, seen: map[string]int{}}
}

// begin starts the drill of a root.
func (w *walker) begin(r root) *play.Drill {
	d, err := play.New(w.sc, play.Options{Variant: r.variant, Seed: r.seed})
	if err != nil {
		w.failed(err)
		return nil
	}
	return d
}

func (w *walker) failed(err error) {
	if w.fault == "" {
		w.fault = err.Error()
	}
}

// decide takes a decision in a copy of the drill and gives the copy; nil when it failed. With a limit the
// thinking time stays within it.
func (w *walker) decide(d *play.Drill, s play.Scene, choice string) *play.Drill {
	c := d.Clone()
	if !w.take(c, s, choice) {
		return nil
	}
	return c
}

// take takes a decision in the drill itself.
func (w *walker) take(d *play.Drill, s play.Scene, choice string) bool {
	stage := d.Stage()
	if _, err := d.Decide(w.decision(s, choice)); err != nil {
		w.failed(fmt.Errorf("taking %s at %s: %w", choice, stage, err))
		return false
	}
	w.taken[place{stage, choice}]++
	w.seen[stage]++
	return true
}

// decision makes a decision of a choice, after the policy's middling thinking time.
func (w *walker) decision(s play.Scene, choice string) play.Decision {
	if choice == script.ClockRanOut {
		return play.Decision{TimedOut: true}
	}
	dec := play.Decision{Choice: choice, Elapsed: w.policy.ThinkFrom + (w.policy.ThinkTo-w.policy.ThinkFrom)/2}
	if s.LimitS > 0 {
		dec.Elapsed = min(dec.Elapsed, s.LimitS)
	}
	if slices.ContainsFunc(s.Choices, func(o play.Offer) bool { return o.ID == choice && o.AsksReason }) {
		dec.Reason = w.policy.Reason
	}
	return dec
}

// options lists all that can be decided in a scene: the choices in their order in the text, the safe stop, and
// letting the clock run out.
func (w *walker) options(d *play.Drill, s play.Scene) []string {
	var ids []string
	st, _ := w.sc.Stage(d.Stage())
	for _, ch := range st.Choices {
		if slices.ContainsFunc(s.Choices, func(o play.Offer) bool { return o.ID == ch.ID }) {
			ids = append(ids, ch.ID)
		}
	}
	ids = append(ids, script.SafeStop)
	if s.LimitS > 0 {
		ids = append(ids, script.ClockRanOut)
	}
	return ids
}

// own gives what the policy would decide.
func (w *walker) own(d *play.Drill, s play.Scene) string {
	steps := d.Timeline().Steps
	return w.policy.Pick(s, w.sc, func(id string) bool {
		return slices.ContainsFunc(steps, func(st play.Step) bool { return st.Choice == id })
	})
}

// finish plays a drill to its end by the policy and gives what became of it. The drill is used up.
func (w *walker) finish(d *play.Drill) (run, bool) {
	stuck := false
	for d != nil && !d.Ended() {
		s := d.Scene()
		choice := w.own(d, s)
		if s.Index >= MaxDecisions {
			stuck, choice = true, script.SafeStop
		}
		if !w.take(d, s, choice) {
			return run{}, false
		}
	}
	if d == nil {
		return run{}, false
	}
	r, err := w.ended(d)
	if err != nil {
		w.failed(err)
		return run{}, false
	}
	r.stuck = stuck
	w.runs = append(w.runs, r)
	return r, true
}

// ended judges a drill that has ended.
func (w *walker) ended(d *play.Drill) (run, error) {
	t := d.Timeline()
	r := run{ending: t.Ending, safe: t.Safe, steps: len(t.Steps), seconds: d.Seconds(), harm: d.Outcome().Harm()}
	for _, s := range t.Steps {
		passed := slices.ContainsFunc(s.Doing.Marks, isPassedOver)
		if (s.Refused != "" || passed) && s.Choice != "" {
			r.refused = append(r.refused, place{s.Stage, s.Choice})
		}
	}
	if w.plan.Judge == nil {
		return r, nil
	}
	m, err := w.plan.Judge(t)
	r.mean, r.levels, r.critical = m.Mean, m.Levels, m.Critical
	return r, err
}

// tree plays every way through the next so many decisions and ends each by the policy.
func (w *walker) tree(d *play.Drill, depth int) {
	if d == nil {
		return
	}
	if depth == 0 || d.Ended() {
		w.finish(d)
		return
	}
	s := d.Scene()
	for _, id := range w.options(d, s) {
		w.tree(w.decide(d, s, id), depth-1)
	}
}

// byChance plays about so many drills that choose by chance. A tenth of them set out; on the way each now and then
// becomes two that go on apart, so that as many arrive. So drills share their beginnings and are many for their
// cost; each by itself is as likely as if it had been played alone.
func (w *walker) byChance(r root, drills int, c *script.Stream) {
	length := w.length(r)
	start := max(1, (drills+5)/10)
	w.chance(w.begin(r), start, length, math.Pow(float64(drills)/float64(start), 1/float64(length))-1, c)
}

// length gives the number of decisions of the author's way.
func (w *walker) length(r root) int {
	d := w.begin(r)
	for n := 0; d != nil && !d.Ended() && n < MaxDecisions; n++ {
		s := d.Scene()
		if _, err := d.Decide(w.decision(s, w.own(d, s))); err != nil {
			break
		}
	}
	if d == nil {
		return 1
	}
	return max(1, len(d.Timeline().Steps))
}

// chance lets n drills go on from a scene; those that pick the same option go on together. Until so many further
// decisions each becomes two with a chance.
func (w *walker) chance(d *play.Drill, n, length int, twice float64, c *script.Stream) {
	if d == nil {
		return
	}
	if d.Ended() || len(d.Timeline().Steps) >= MaxDecisions {
		w.finish(d)
		return
	}
	if length > 0 {
		for range n {
			if c.Uniform() < twice {
				n++
			}
		}
	}
	s := d.Scene()
	options := w.options(d, s)
	picks := make([]int, len(options))
	for range n {
		picks[w.pick(options, c)]++
	}
	for i, id := range options {
		if picks[i] > 0 {
			w.chance(w.decide(d, s, id), picks[i], length-1, twice, c)
		}
	}
}

// pick draws one option; the safe stop and the clock have a tenth of a choice's weight.
func (w *walker) pick(options []string, c *script.Stream) int {
	weight := func(id string) float64 {
		if id == script.SafeStop || id == script.ClockRanOut {
			return 0.1
		}
		return 1
	}
	total := 0.0
	for _, id := range options {
		total += weight(id)
	}
	u := c.Uniform() * total
	for i, id := range options {
		if u -= weight(id); u < 0 {
			return i
		}
	}
	return len(options) - 1
}
