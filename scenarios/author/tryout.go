package author

import (
	"fmt"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// How far Check plays: enough to come to most stages, little enough to be done while an author waits.
const (
	tryoutSeeds     = 4
	tryoutDecisions = 40
)

// tryOut plays every variant on a few seeds by chance, and takes the safe stop at every scene on the way in a
// copy of the drill. It reports an opening the eye refuses, a decision that fails, and a stop that is not safe.
func (c *inspector) tryOut() {
	said := map[string]bool{}
	once := func(message, do string, path ...any) {
		if key := fmt.Sprintf("%v", path); !said[key] {
			said[key] = true
			c.wrong(message, do, path...)
		}
	}
	for _, v := range c.sc.Variants {
		for seed := uint64(1); seed <= tryoutSeeds; seed++ {
			d, err := play.New(c.sc, play.Options{Variant: v.Name, Seed: seed})
			if err != nil {
				once(fmt.Sprintf("in the variant %s (seed %d) the drill cannot begin: %v", v.Name, seed, err), "change the opening or the starting eye", "opening")
				break
			}
			tryOne(d, script.NewStream(seed, "try out "+v.Name), once)
		}
	}
}

func tryOne(d *play.Drill, chance *script.Stream, report func(message, do string, path ...any)) {
	for n := 0; !d.Ended() && n < tryoutDecisions; n++ {
		stage := d.Stage()
		if fault := stopFault(d); fault != "" {
			report("the safe stop fails here: "+fault, "look at what the stage leaves in the eye", "stages", stage)
			return
		}
		offers := d.Scene().Choices
		pick := offers[0]
		if len(offers) > 1 {
			pick = offers[chance.Below(len(offers)-1)]
		}
		if _, err := d.Decide(play.Decision{Choice: pick.ID, Elapsed: 1, Reason: "tried out"}); err != nil {
			report(fmt.Sprintf("taking this fails: %v", err), "look at the conditions and amounts it meets", "stages", stage, "choices", pick.ID)
			return
		}
	}
}

// stopFault takes the safe stop in a copy and says what is not safe about how it leaves the eye; "" is safe.
func stopFault(d *play.Drill) string {
	d = d.Clone()
	if _, err := d.Decide(play.Decision{Choice: script.SafeStop}); err != nil {
		return err.Error()
	}
	t := d.Timeline()
	after := t.Steps[len(t.Steps)-1].Doing.After
	on := func(measure string) bool { x, _ := after.Get(measure); return x != 0 }
	switch {
	case !d.Ended() || !t.Safe:
		return "it does not end the drill safely"
	case on("tip_in_eye"):
		return "an instrument stays in the eye"
	case on("aspirating") || on("ultrasound_on"):
		return "the machine still works in the eye"
	case on("wound_open") || !on("wound_sealed"):
		return "the wound stays open"
	}
	return ""
}
