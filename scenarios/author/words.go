package author

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"zonule/scenarios/script"
)

// words looks at what a trainee reads before the first decision, and at how the stages read at the bench.
func (c *inspector) words(today string) {
	sc := c.sc
	if w := script.GivesAway(strings.ReplaceAll(sc.ID, "-", " "), sc.Complication); w != "" {
		c.wrong(fmt.Sprintf("the id gives the case away with %q, and a trainee may see it", w), "choose one that says nothing, such as a list and a place in it", "id")
	}
	if w := named(sc.Brief, sc.Complication); w != "" {
		c.wrong(fmt.Sprintf("the brief names the complication with %q before the first cue", w), "tell what was known before it began, no more", "brief")
	}
	c.unfilled(sc.Teaches, "teaches")
	c.unfilled(sc.Brief, "brief")
	for _, e := range sc.Endings {
		c.unfilled(e.Says, "endings", e.ID, "says")
	}
	for _, st := range sc.Stages {
		for _, ch := range st.Choices {
			c.unfilled(ch.Because, "stages", st.Name, "choices", ch.ID, "because")
		}
		if w := named(st.Cue, sc.Complication); w != "" {
			c.advise(fmt.Sprintf("the cue names the complication with %q", w), "say what is seen, heard or felt", "stages", st.Name, "cue")
		}
		if n := len(st.Choices); n > MaxEasyChoices {
			c.advise(fmt.Sprintf("%d choices are much to read in seconds", n), fmt.Sprintf("offer at most %d, the safe stop not counted", MaxEasyChoices), "stages", st.Name, "choices")
		}
		if !slices.ContainsFunc(st.Choices, func(ch script.Choice) bool { return ch.Stance == "preferred" || ch.Stance == "acceptable" }) {
			c.advise("no choice here is preferred or acceptable", "leave a right way open at every stage", "stages", st.Name, "choices")
		}
	}
	if today != "" && sc.ReviewDue < today {
		c.advise("the review was due on "+sc.ReviewDue, "have it reviewed, then write who did and the next day", "review_due")
	}
}

var braces = regexp.MustCompile(`\{[a-z_]*\}`)

// unfilled reports braces where a reader would see them as they stand.
func (c *inspector) unfilled(words string, path ...any) {
	if b := braces.FindString(words); b != "" {
		c.wrong(b+" is not filled in here: it would be read as it stands", "say it without; cues and the words of choices are filled in", path...)
	}
}

// named gives the first word of a text that is both a word of the complication and one that gives a case away;
// everyday words of the complication (a chop, a lens) may stand in what a trainee reads.
func named(words, complication string) string {
	for _, w := range strings.FieldsFunc(strings.ToLower(words), func(r rune) bool { return r < 'a' || r > 'z' }) {
		if script.GivesAway(w, "") != "" && script.GivesAway(complication, "") != "" && strings.Contains(strings.ToLower(complication), w) && len(w) >= 4 {
			return w
		}
	}
	return ""
}

// panels asks for votes wherever a choice is acceptable with a reason: there guidance diverges.
func (c *inspector) panels() {
	for _, st := range c.sc.Stages {
		for _, ch := range st.Choices {
			if ch.Stance != "acceptable" {
				continue
			}
			at := []any{"stages", st.Name}
			switch {
			case st.Panel == nil:
				c.wrong(fmt.Sprintf("%s is acceptable with a reason, but the stage has no panel votes", ch.ID), "write panel: {illustrative: true, votes: {choice: how many}}", join(at, "choices", ch.ID)...)
			case !slices.ContainsFunc(st.Panel.Votes, func(v script.Vote) bool { return v.Choice == ch.ID && v.Count > 0 }):
				c.wrong(fmt.Sprintf("%s is acceptable with a reason, but none of the panel votes for it", ch.ID), "give it votes, or call it suboptimal", join(at, "panel")...)
			}
		}
	}
}
