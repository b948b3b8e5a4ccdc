package assessor

import (
	"fmt"
	"strings"

	"zonule/assessor/rubric"
)

// mostInReason is how many pieces of evidence a reason spells out; all of them are in Evidence.
const mostInReason = 5

// nothingContrary is said where a level rests on things that did not happen.
const nothingContrary = "nothing contrary was recorded"

// give sets a level with its reason.
func (c *Criterion) give(level int, anchor string, evidence []rubric.Evidence) {
	c.Level, c.Anchor, c.Evidence = level, anchor, evidence
	c.LevelName = rubric.TheStandard().Levels[level].Name
	why := list(evidence)
	switch {
	case level == 1 && why != "":
		why = "no higher level was reached: " + why
	case level == 1:
		why = "no higher level was reached, and " + nothingContrary
	case why == "":
		why = nothingContrary
	case allAbsent(evidence):
		why = nothingContrary + ": " + why
	}
	c.Reason = fmt.Sprintf("Level %d (%s): %s.", level, c.LevelName, why)
}

// notShown sets level 0 with what was missing, or what was seen instead of what was needed.
func (c *Criterion) notShown(v rubric.Verdict) {
	c.Level, c.LevelName, c.Evidence, c.Missing = 0, "not shown", v.Evidence, v.Missing
	why := strings.Join(v.Missing, "; ")
	if why == "" {
		why = list(v.Evidence)
	}
	if why == "" {
		why = "the drill gave no occasion"
	}
	c.Reason = "Not shown: " + why + "."
}

func list(evidence []rubric.Evidence) string {
	var parts []string
	for i, e := range evidence {
		if i == mostInReason {
			parts = append(parts, fmt.Sprintf("and %d more", len(evidence)-mostInReason))
			break
		}
		parts = append(parts, e.String())
	}
	return strings.Join(parts, "; ")
}

func allAbsent(evidence []rubric.Evidence) bool {
	for _, e := range evidence {
		if e.Sort != rubric.Absent {
			return false
		}
	}
	return true
}
