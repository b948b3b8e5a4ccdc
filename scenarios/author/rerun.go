package author

import (
	"fmt"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// Recording is a recorded list of decisions that can be played on any version of its scenario.
type Recording struct {
	Name      string
	Options   play.Options
	Decisions []play.Decision
}

// Result is what a recording comes to on one version. Fault says why it cannot be played to its end there; the
// rest then stands at the last decision that could be taken.
type Result struct {
	Ending   string
	Safe     bool
	Harm     float64
	Marks    Marks
	Fault    string
	timeline *play.Timeline
}

// Rerun is one recording on two versions. Differ lists where the records part, the first places first; it is empty
// when the result is the same.
type Rerun struct {
	Name     string
	Was, Now Result
	Differ   []string
}

// tolerance and places of Reruns: measures that differ by less count as the same; so many places are named.
const (
	tolerance = 1e-6
	places    = 3
)

// Reruns plays recordings on an older and a newer version and says which results change, by the eye's measures, the
// stages passed, the ending, and the marks where judges are given (nil leaves marks out).
func Reruns(old, now *script.Scenario, judgeOld, judgeNow Judge, recordings []Recording) []Rerun {
	var out []Rerun
	for _, r := range recordings {
		x := Rerun{Name: r.Name, Was: replay(old, judgeOld, r), Now: replay(now, judgeNow, r)}
		x.compare()
		out = append(out, x)
	}
	return out
}

func replay(sc *script.Scenario, judge Judge, r Recording) Result {
	d, err := play.New(sc, r.Options)
	if err != nil {
		return Result{Fault: err.Error()}
	}
	var out Result
	for i, dec := range r.Decisions {
		stage := d.Stage()
		if _, err := d.Decide(dec); err != nil {
			out.Fault = fmt.Sprintf("decision %d at %s: %v", i+1, stage, err)
			break
		}
	}
	out.timeline = d.Timeline()
	out.Ending, out.Safe, out.Harm = out.timeline.Ending, out.timeline.Safe, d.Outcome().Harm()
	if judge != nil {
		m, err := judge(out.timeline)
		if err != nil && out.Fault == "" {
			out.Fault = err.Error()
		}
		out.Marks = m
	}
	return out
}

func (x *Rerun) compare() {
	say := func(format string, args ...any) { x.Differ = append(x.Differ, fmt.Sprintf(format, args...)) }
	if x.Was.Fault != x.Now.Fault {
		say("was %s, is %s", orFine(x.Was.Fault), orFine(x.Now.Fault))
	}
	if x.Was.timeline == nil || x.Now.timeline == nil {
		return
	}
	all := play.Compare(x.Was.timeline, x.Now.timeline, tolerance)
	for i, d := range all {
		if i == places {
			say("and in %d more places", len(all)-places)
			break
		}
		say("%s", d)
	}
	if d := x.Now.Harm - x.Was.Harm; d > 0.05 || d < -0.05 {
		say("the harm index was %.1f, is %.1f", x.Was.Harm, x.Now.Harm)
	}
	if x.Was.Marks.Mean != x.Now.Marks.Mean || len(x.Was.Marks.Critical) != len(x.Now.Marks.Critical) {
		say("mean level was %.2f with %d critical errors, is %.2f with %d", x.Was.Marks.Mean, len(x.Was.Marks.Critical), x.Now.Marks.Mean, len(x.Now.Marks.Critical))
	}
}

func orFine(fault string) string {
	if fault == "" {
		return "played to its end"
	}
	return fault
}
