package rubric

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"zonule/scenarios/script/text"
)

// Check reads a rubric as [Parse] does, and besides what is wrong gives advice: what is allowed
// but probably not meant.
func Check(file string, data []byte, names Names) (problems, advice text.Problems) {
	r, err := Parse(file, data, names)
	if err != nil {
		if errors.As(err, &problems) {
			return problems, nil
		}
		return text.Problems{{File: file, Line: 1, Column: 1, Message: err.Error()}}, nil
	}
	doc, err := text.Parse(file, data)
	if err != nil {
		return text.Problems{{File: file, Line: 1, Column: 1, Message: err.Error()}}, nil
	}
	add := func(message, do string, path ...any) {
		advice = append(advice, doc.Problem(message, do, path...))
	}
	total := 0.0
	for _, c := range r.Criteria {
		total += c.Weight
		seen := map[string]int{}
		for l := Top; l >= 2; l-- {
			if c.Levels[l] == nil {
				continue
			}
			if above, ok := seen[c.Levels[l].Source()]; ok {
				add(fmt.Sprintf("level %d of %s has the same rule as level %d, so it is never given", l, c.ID, above), "loosen the rule, or leave the level out", "criteria", c.ID, "levels", strconv.Itoa(l))
			}
			seen[c.Levels[l].Source()] = l
		}
		if len(seen) == 1 {
			add(c.ID+" tells only two levels apart", "give rules for more levels if the case shows them", "criteria", c.ID, "levels")
		}
		if c.Levels[Top] == nil {
			add(c.ID+" cannot reach level 5", "give level 5 a rule, or say in an anchor why the case cannot show it", "criteria", c.ID, "levels")
		}
	}
	for _, c := range r.Criteria {
		if len(r.Criteria) > 2 && c.Weight > total/2 {
			add(fmt.Sprintf("%s weighs %.0f %% of the mean", c.ID, math.Round(100*c.Weight/total)), "lower its weight unless the case is about it alone", "criteria", c.ID, "weight")
		}
	}
	for _, e := range r.Critical {
		if len(e.Caps) == 0 {
			add(e.ID+" caps no criterion", "name the criteria it bears on under caps", "critical", e.ID)
		}
	}
	return nil, advice
}
