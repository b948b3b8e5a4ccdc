package author

import (
	"slices"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// Ways says where each choice of a stage was seen to lead, and how often, and what the author's preferred choices
// came through.
type Ways struct {
	led map[place][]Way
	own map[string]bool // stages and endings
}

// Way is one place a choice led to: a stage or an ending.
type Way struct {
	To    string
	Count int
}

// How much Learn plays: drills for each variant, and visits of a stage at which everything is tried.
const (
	learnDrills = 8
	learnVisits = 2
)

// Learn plays a scenario in every variant and tries at the stages it comes to where everything leads. What it
// never saw is not in the result. The same seed gives the same ways.
func Learn(sc *script.Scenario, seed uint64) Ways {
	ways := Ways{map[place][]Way{}, map[string]bool{}}
	for _, v := range sc.Variants {
		visits := map[string]int{}
		w := newWalker(sc, Plan{Policies: []play.Policy{{ThinkFrom: 2, ThinkTo: 4, Reason: "looking where it leads"}}})
		chance := script.NewStream(seed, "learn "+v.Name)
		for i := range uint64(learnDrills) {
			w.learn(w.begin(root{v.Name, seed + i}), i == 0, chance, visits, ways)
		}
	}
	for at := range ways.led {
		slices.SortFunc(ways.led[at], func(a, b Way) int { return order(sc, a.To) - order(sc, b.To) })
	}
	return ways
}

// learn walks one drill to its end, the first by the author's preferred choices and the others by chance.
func (w *walker) learn(d *play.Drill, preferred bool, c *script.Stream, visits map[string]int, ways Ways) {
	for n := 0; d != nil && !d.Ended() && n < MaxDecisions/2; n++ {
		s, stage := d.Scene(), d.Stage()
		options := w.options(d, s)
		if visits[stage]++; visits[stage] <= learnVisits {
			for _, id := range options {
				if after := w.decide(d, s, id); after != nil {
					ways.add(place{stage, id}, led(after))
				}
			}
		}
		pick := options[w.pick(options, c)]
		if preferred {
			pick = w.own(d, s)
		}
		if !w.take(d, s, pick) {
			return
		}
		ways.add(place{stage, pick}, led(d))
		if preferred {
			ways.own[stage], ways.own[led(d)] = true, true
		}
	}
}

// led gives where the last decision led.
func led(d *play.Drill) string {
	steps := d.Timeline().Steps
	return steps[len(steps)-1].Next
}

func (w Ways) add(at place, to string) {
	for i := range w.led[at] {
		if w.led[at][i].To == to {
			w.led[at][i].Count++
			return
		}
	}
	w.led[at] = append(w.led[at], Way{to, 1})
}

// order is the place of a stage or an ending in the text.
func order(sc *script.Scenario, name string) int {
	for i, st := range sc.Stages {
		if st.Name == name {
			return i
		}
	}
	for i, e := range sc.Endings {
		if e.ID == name {
			return len(sc.Stages) + i
		}
	}
	return len(sc.Stages) + len(sc.Endings)
}
