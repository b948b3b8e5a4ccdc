package author

import (
	"fmt"

	"zonule/scenarios/script"
)

// How much a single choice may change before it is worth a look: levels of the mean, points of the harm index.
const (
	littleHarm  = 0.5 // less than this apart, the eye counts as left alike
	littleMarks = 0.02
	muchMarks   = 0.3
	muchHarm    = 1.0
)

// lookAt says in words what an author should look at.
func (r *Report) lookAt(sc *script.Scenario, plan Plan, parts []*part, stuck int) {
	say := func(format string, args ...any) { r.Look = append(r.Look, fmt.Sprintf(format, args...)) }
	for _, p := range parts {
		if p.w.fault != "" {
			say("in the variant %s, seed %d: %s", p.variant, p.seed, p.w.fault)
		}
	}
	if stuck > 0 {
		say("%d drills had not ended after %d decisions and were given up", stuck, MaxDecisions)
	}
	for _, e := range r.Endings {
		if e.Count == 0 && e.ID != script.SafeEnding {
			say("no drill ended in %s", e.ID)
		}
	}
	seen := map[string]int{}
	for _, p := range parts {
		for stage, n := range p.w.seen {
			seen[stage] += n
		}
	}
	for _, st := range sc.Stages {
		if seen[st.Name] == 0 {
			say("no drill came to the stage %s", st.Name)
		}
	}
	if plan.Judge != nil {
		r.lookAtMarks(sc, say)
	}
	if r.Way.Safer > top {
		say("%.1f %% of the drills leave the eye with less harm than the author's way; at most %.0f %% are wanted", 100*r.Way.Safer, 100*top)
	}
	if r.Way.Refused > 0 || r.Way.Unsafe > 0 {
		say("the author's way meets %d decisions the eye cannot do whole, and ends unsafely in %d of %d drills", r.Way.Refused, r.Way.Unsafe, r.Way.Drills)
	}
	for _, c := range r.Choices {
		r.lookAtChoice(c, seen[c.Stage] > 0, plan.Judge != nil, say)
	}
}

func (r *Report) lookAtMarks(sc *script.Scenario, say func(string, ...any)) {
	for _, id := range sc.Evidences {
		moved := false
		for _, m := range r.Criteria {
			moved = moved || m.Criterion == id && m.Moves
		}
		if !moved {
			say("the criterion %s never moved, and the scenario says it gives evidence of it", id)
		}
	}
	w := r.Way
	if w.Higher > top {
		say("%.1f %% of the drills have higher marks than the author's way; at most %.0f %% are wanted", 100*w.Higher, 100*top)
	}
	if w.Critical > 0 {
		say("the author's way commits %d critical errors in %d drills", w.Critical, w.Drills)
	}
}

// lookAtChoice reports a bad choice that is not punished, a right one that is, and what nobody could do.
func (r *Report) lookAtChoice(c Choice, seen, judged bool, say func(string, ...any)) {
	at := c.Choice + " at " + c.Stage
	switch {
	case c.Choice == script.SafeStop || c.Choice == script.ClockRanOut:
		return
	case c.Taken == 0 && seen:
		say("no drill took %s", at)
	case c.Taken > 0 && c.Refused == c.Taken:
		say("the eye could never do %s whole", at)
	}
	if c.Turns == 0 || c.Own {
		return
	}
	bad, right := c.Stance == "harmful" || c.Stance == "critical", c.Stance == "preferred" || c.Stance == "acceptable"
	switch {
	case bad && judged && c.Marks >= -littleMarks:
		say("%s is %s and the marks do not show it: the mean level changes by %+.2f", at, c.Stance, c.Marks)
	case right && judged && (c.Marks < -muchMarks || c.Critical > 0):
		say("%s is %s and is marked down: the mean level changes by %+.2f, critical errors by %+.2f", at, c.Stance, c.Marks, c.Critical)
	}
	switch {
	case bad && c.Harm < -muchHarm:
		say("%s is %s and the eye ends better for it: the harm index changes by %+.1f", at, c.Stance, c.Harm)
	case right && c.Harm > 5*muchHarm:
		say("%s is %s and the eye ends worse for it: the harm index changes by %+.1f", at, c.Stance, c.Harm)
	}
}
