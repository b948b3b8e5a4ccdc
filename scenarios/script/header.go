package script

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"zonule/scenarios/script/text"
)

// Competencies are what a scenario may say it gives evidence of, C1 to C10.
func Competencies() []string {
	return []string{"C1", "C2", "C3", "C4", "C5", "C6", "C7", "C8", "C9", "C10"}
}

var (
	marks = []string{"published", "common practice", "from memory"}
	date  = regexp.MustCompile(`^20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$`)
)

// header checks the keys that say what the scenario is and who answers for it.
func (r *reader) header(raw rawScenario) {
	if raw.Zonule != Language {
		r.fail(fmt.Sprintf("the text is %q, not a scenario this build reads", raw.Zonule), "begin it with zonule: "+Language, "zonule")
	}
	for _, need := range []struct{ key, value, do string }{
		{"id", raw.ID, "give it an id of lower-case letters, digits and hyphens"},
		{"shown_as", raw.ShownAs, "write the title the trainee reads, which gives nothing away"},
		{"complication", raw.Complication, "write what it is about, or none for a normal case"},
		{"teaches", raw.Teaches, "write in a sentence what it is for"},
		{"brief", raw.Brief, "write what the trainee is told before the first cue"},
		{"cautions", raw.Cautions, "write what nobody may conclude from it"},
		{"reviewed_by", raw.ReviewedBy, "write who reviewed it, or none yet"},
		{"review_due", raw.ReviewDue, "write the day by which it must be looked at again, 2027-06-01"},
		{"first", raw.First, "name the first stage"},
	} {
		if strings.TrimSpace(need.value) == "" {
			r.fail(need.key+" is missing", need.do, need.key)
		}
	}
	if raw.ID != "" {
		r.plainName(raw.ID, "a scenario", "id")
	}
	if raw.ReviewDue != "" && !date.MatchString(raw.ReviewDue) {
		r.fail(fmt.Sprintf("%q is no date", raw.ReviewDue), "write year-month-day, 2027-06-01", "review_due")
	}
	if s := raw.Orientation; s.Eye != "left" && s.Eye != "right" || s.Sits == "" {
		r.fail("orientation is missing or not whole", "write orientation: {eye: left or right, sits: where the surgeon sits}", "orientation")
	}
	if len(raw.Evidences) == 0 {
		r.fail("evidences is missing", "list the competencies it gives evidence of, C1 to C10", "evidences")
	}
	for i, c := range raw.Evidences {
		if !slices.Contains(Competencies(), c) || slices.Contains(raw.Evidences[:i], c) {
			r.fail(fmt.Sprintf("%q is no competency, or stands there twice", c), "they are C1 to C10", "evidences", i)
		}
	}
	if len(raw.Variants) == 0 {
		r.fail("variants is missing", "write at least one variant, such as usual: {about: ..., values: {}}", "variants")
	}
	r.sources(raw.Sources)
}

func (r *reader) sources(list []rawSource) {
	if len(list) == 0 {
		r.fail("sources is missing", "say where its facts come from: [{claim: ..., mark: common practice}]", "sources")
	}
	for i, s := range list {
		switch {
		case strings.TrimSpace(s.Claim) == "":
			r.fail("the source says nothing", "write claim: what it supports", "sources", i)
		case !slices.Contains(marks, s.Mark):
			r.fail(fmt.Sprintf("the mark %q is not known", s.Mark), "write published, common practice or from memory", "sources", i, "mark")
		case s.Mark == "published" && s.Ref == "":
			r.fail("a published source wants a reference", "write ref: author, where, year", "sources", i)
		}
	}
}

// unused reports circumstances and moves that nothing asks for: usually a slip of spelling.
func (r *reader) unused() {
	for _, v := range r.values {
		if !r.used[v.Name] && len(r.problems) == 0 {
			r.fail(fmt.Sprintf("nothing uses the circumstance %s", v.Name), "use it in an action, the eye, a cue or a condition (given."+v.Name+"), or take it out", "variants", r.variants[0].Name, "values", v.Name)
		}
	}
	for _, m := range r.moves {
		if !r.movesUsed[m] && len(r.problems) == 0 {
			r.fail(fmt.Sprintf("nothing uses the move %s", m), "use it, or take it out", "moves", m)
		}
	}
}

// givesAway are words of the trade that tell a trainee what is coming, whatever the scenario calls it.
var givesAway = []string{"dialysis", "zonule", "zonular", "vitreous", "strand", "rupture", "rent", "tear", "prolapse", "dropped", "complication", "surge", "haemorrhage", "hemorrhage", "misdirection", "burn", "detachment", "weak", "normal", "healthy"}

// checkTitle refuses a title that names the complication.
func checkTitle(sc *Scenario) text.Problems {
	if w := GivesAway(sc.ShownAs, sc.Complication); w != "" {
		return text.Problems{sc.doc.Problem(fmt.Sprintf("the title gives the complication away with %q", w), "choose a title that says nothing, such as a list and a place in it", "shown_as")}
	}
	return nil
}

// GivesAway gives the first word of a text that tells a trainee what is coming: one of the complication's own,
// or one of the trade's; "" when there is none.
func GivesAway(words, complication string) string {
	heavy := func(s string) []string {
		return strings.FieldsFunc(strings.ToLower(s), func(c rune) bool { return c < 'a' || c > 'z' })
	}
	forbidden := slices.Clone(givesAway)
	for _, w := range heavy(complication) {
		if len(w) >= 4 && !slices.Contains([]string{"none", "with", "during", "from", "found", "after", "before", "that", "case"}, w) {
			forbidden = append(forbidden, w)
		}
	}
	for _, w := range heavy(words) {
		if slices.ContainsFunc(forbidden, func(f string) bool { return sameStem(w, f) }) {
			return w
		}
	}
	return ""
}

// sameStem compares words by their first five letters (all of them when shorter).
func sameStem(a, b string) bool {
	n := min(5, max(len(a), len(b)))
	return len(a) >= n && len(b) >= n && a[:n] == b[:n]
}
