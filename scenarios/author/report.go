package author

import (
	"slices"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

// Report is what exploring found. Shares are from 0 to 1; marks are mean levels from 1 to 5; harm is the model
// eye's index for ordering, in which less is better.
type Report struct {
	Scenario string `json:"scenario"`
	Digest   string `json:"digest"`
	Model    string `json:"model"`
	Seed     uint64 `json:"seed"`
	Seeds    int    `json:"seeds"`
	Depth    int    `json:"depth"`
	Samples  int    `json:"samples"`

	Drills    int         `json:"drills"` // complete ones
	Endings   []Ended     `json:"endings"`
	Decisions Spread      `json:"decisions"`
	Seconds   Spread      `json:"seconds"` // on the drill's clock
	Criteria  []Moved     `json:"criteria"`
	Critical  []Ended     `json:"critical_errors"`
	Way       Recommended `json:"recommended"`
	Choices   []Choice    `json:"choices"`
	Look      []string    `json:"look_at"` // what an author should look at, in words; empty when nothing
}

// Ended counts drills by ending, or by critical error.
type Ended struct {
	ID    string  `json:"id"`
	Safe  bool    `json:"safe,omitempty"`
	Count int     `json:"count"`
	Share float64 `json:"share"`
}

// Spread is how long drills were.
type Spread struct {
	Least  float64 `json:"least"`
	Median float64 `json:"median"`
	Most   float64 `json:"most"`
}

// Moved says which levels a criterion ever had: Levels[0] counts drills in which it was not shown.
type Moved struct {
	Criterion string `json:"criterion"`
	Levels    [6]int `json:"levels"`
	Moves     bool   `json:"moves"` // at least two levels were shown
}

// Recommended compares the author's way with all other drills from the same variant and seed.
type Recommended struct {
	Drills     int     `json:"drills"`
	Marks      float64 `json:"marks"`       // mean
	Harm       float64 `json:"harm"`        // mean
	OthersMark float64 `json:"marks_other"` // mean over all other drills
	OthersHarm float64 `json:"harm_other"`
	Higher     float64 `json:"share_with_higher_marks"`
	Safer      float64 `json:"share_with_less_harm"` // by more than half a point
	Critical   int     `json:"critical_errors"`
	Refused    int     `json:"refused"` // decisions the eye could not do, or not whole
	Unsafe     int     `json:"unsafe_endings"`
	InTop      bool    `json:"in_top_twentieth"` // by marks and by harm
}

// Choice is what taking a choice once changed, against the author's way before and after it.
type Choice struct {
	Stage    string  `json:"stage"`
	Choice   string  `json:"choice"`
	Stance   string  `json:"stance,omitempty"`
	Taken    int     `json:"taken"`           // in all drills
	Turns    int     `json:"turns"`           // how often it was compared
	Own      bool    `json:"own"`             // the author's way takes it itself
	Marks    float64 `json:"marks"`           // mean change of the mean level
	Harm     float64 `json:"harm"`            // mean change of the harm index
	Critical float64 `json:"critical_errors"` // mean change
	Refused  int     `json:"refused"`
}

// top is the share of drills that may be better than the author's way.
const top = 0.05

// gather sums the parts up, in their fixed order.
func gather(sc *script.Scenario, plan Plan, parts []*part) *Report {
	r := &Report{Scenario: sc.ID, Digest: sc.Digest, Model: eye.Model, Seed: plan.Seed, Seeds: plan.Seeds, Depth: plan.Depth, Samples: plan.Samples}
	var steps, seconds []float64
	endings, errors, refused := map[string]int{}, map[string]int{}, map[place]int{}
	levels := map[string]*Moved{}
	stuck := 0
	for _, p := range parts {
		for _, x := range p.w.runs {
			r.Drills++
			steps, seconds = append(steps, float64(x.steps)), append(seconds, x.seconds)
			endings[x.ending]++
			for _, id := range x.critical {
				errors[id]++
			}
			for _, id := range x.refused {
				refused[id]++
			}
			if x.stuck {
				stuck++
			}
			for _, l := range x.levels {
				if levels[l.Criterion] == nil {
					levels[l.Criterion] = &Moved{Criterion: l.Criterion}
					r.Criteria = append(r.Criteria, Moved{Criterion: l.Criterion})
				}
				levels[l.Criterion].Levels[min(max(l.Level, 0), 5)]++
			}
		}
	}
	for i := range r.Criteria {
		r.Criteria[i] = *levels[r.Criteria[i].Criterion]
		shown := 0
		for _, n := range r.Criteria[i].Levels[1:] {
			if n > 0 {
				shown++
			}
		}
		r.Criteria[i].Moves = shown > 1
	}
	r.Decisions, r.Seconds = spread(steps), spread(seconds)
	r.endings(sc, endings, errors)
	r.recommended(parts)
	r.choices(sc, parts, refused)
	r.lookAt(sc, plan, parts, stuck)
	return r
}

func spread(xs []float64) Spread {
	if len(xs) == 0 {
		return Spread{}
	}
	slices.Sort(xs)
	return Spread{xs[0], xs[len(xs)/2], xs[len(xs)-1]}
}

func (r *Report) endings(sc *script.Scenario, endings, errors map[string]int) {
	ids := []string{script.SafeEnding}
	for _, e := range sc.Endings {
		if e.ID != script.SafeEnding {
			ids = append(ids, e.ID)
		}
	}
	for _, id := range ids {
		e, _ := sc.Ending(id)
		r.Endings = append(r.Endings, Ended{id, e.Safe, endings[id], share(endings[id], r.Drills)})
	}
	var names []string
	for id := range errors {
		names = append(names, id)
	}
	slices.Sort(names)
	for _, id := range names {
		r.Critical = append(r.Critical, Ended{id, false, errors[id], share(errors[id], r.Drills)})
	}
}

func share(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

// recommended compares the author's way of each root with every other run of the same root. The author's own run
// comes up again among them (the depth's first way ends in it); being equal it counts for nothing.
func (r *Report) recommended(parts []*part) {
	bases := map[root]run{}
	for _, p := range parts {
		if p.kind == byTurns && p.base.steps > 0 {
			bases[p.root] = p.base
			r.Way.Drills++
			r.Way.Marks += p.base.mean
			r.Way.Harm += p.base.harm
			r.Way.Critical += len(p.base.critical)
			r.Way.Refused += len(p.base.refused)
			if !p.base.safe {
				r.Way.Unsafe++
			}
		}
	}
	if r.Way.Drills == 0 {
		return
	}
	r.Way.Marks /= float64(r.Way.Drills)
	r.Way.Harm /= float64(r.Way.Drills)
	higher, safer, n := 0, 0, 0
	for _, p := range parts {
		base, ok := bases[p.root]
		if !ok {
			continue
		}
		for _, x := range p.w.runs {
			n++
			r.Way.OthersMark += x.mean
			r.Way.OthersHarm += x.harm
			if x.mean > base.mean+1e-9 {
				higher++
			}
			if x.harm < base.harm-littleHarm {
				safer++
			}
		}
	}
	r.Way.OthersMark /= float64(n)
	r.Way.OthersHarm /= float64(n)
	r.Way.Higher, r.Way.Safer = share(higher, n), share(safer, n)
	r.Way.InTop = r.Way.Higher <= top && r.Way.Safer <= top
}

// choices sums the turns up, stage by stage in the order of the text.
func (r *Report) choices(sc *script.Scenario, parts []*part, refused map[place]int) {
	sums, taken := map[place]*Choice{}, map[place]int{}
	for _, p := range parts {
		for id, n := range p.w.taken {
			taken[id] += n
		}
		for _, t := range p.turns {
			k := place{t.stage, t.choice}
			if sums[k] == nil {
				sums[k] = &Choice{}
			}
			c := sums[k]
			c.Own = c.Own || t.own
			c.Turns++
			c.Marks += t.mean
			c.Harm += t.harm
			c.Critical += float64(t.critical)
		}
	}
	for _, st := range sc.Stages {
		list := slices.Clone(st.Choices)
		list = append(list, script.SafeStopChoice())
		if st.Clock != nil {
			list = append(list, script.Choice{ID: script.ClockRanOut})
		}
		for _, ch := range list {
			at, c := place{st.Name, ch.ID}, Choice{}
			if got := sums[at]; got != nil {
				c = *got
				n := float64(c.Turns)
				c.Marks, c.Harm, c.Critical = c.Marks/n, c.Harm/n, c.Critical/n
			}
			c.Stage, c.Choice, c.Stance, c.Taken, c.Refused = st.Name, ch.ID, ch.Stance, taken[at], refused[at]
			r.Choices = append(r.Choices, c)
		}
	}
}
