package assessor

import (
	"fmt"
	"slices"

	"zonule/assessor/rubric"
	"zonule/scenarios/play"
)

// Assess judges a timeline by a rubric. Decisions that were taken back in time are left out.
//
// It is an error when the rubric belongs to another scenario, when the timeline holds seconds that
// are no numbers or run backwards, or when a rule fails by itself (its cost limit).
func Assess(t play.Timeline, r *rubric.Rubric) (Assessment, error) {
	if err := fits(t, r); err != nil {
		return Assessment{}, err
	}
	record := rubric.NewRecord(t)
	a := Assessment{
		Rubric: r.ID, RubricVersion: r.Version, RubricDigest: r.Digest, Standard: r.Standard, ApprovedBy: r.ApprovedBy,
		Scenario: t.ScenarioID, Digest: t.Digest, Model: t.Model, Variant: t.Variant, Seed: t.Seed,
		ClockOff: t.ClockOff, Ending: t.Ending, Safe: t.Safe,
	}
	for i := range r.Critical {
		e, committed, err := critical(record, &r.Critical[i])
		if err != nil {
			return Assessment{}, err
		}
		if committed {
			a.Critical = append(a.Critical, e)
		}
	}
	for i := range r.Criteria {
		c, err := judge(record, &r.Criteria[i])
		if err != nil {
			return Assessment{}, err
		}
		c.cap(a.Critical, &r.Criteria[i])
		a.Criteria = append(a.Criteria, c)
	}
	a.average()
	return a, nil
}

// average fills in the weighted mean over the criteria shown.
func (a *Assessment) average() {
	sum, weight := 0.0, 0.0
	for _, c := range a.Criteria {
		if c.Level > 0 {
			a.Shown++
			sum += c.Weight * float64(c.Level)
			weight += c.Weight
		}
	}
	if a.Shown > 0 {
		a.Mean = sum / weight
	}
}

// judge finds the level of one criterion, before caps.
func judge(record *rubric.Record, def *rubric.Criterion) (Criterion, error) {
	c := Criterion{ID: def.ID, Name: def.Name, Weight: def.Weight}
	if def.Needs != nil {
		v, err := record.Judge(def.Needs)
		if err != nil {
			return c, fmt.Errorf("what %s needs cannot be judged: %w", def.ID, err)
		}
		if !v.Holds {
			c.notShown(v)
			return c, nil
		}
	}
	var missing, failed rubric.Verdict // everything that rules without a verdict, or against, looked at
	for l := rubric.Top; l >= 2; l-- {
		rl := def.Levels[l]
		if rl == nil {
			continue
		}
		v, err := record.Judge(rl)
		if err != nil {
			return c, fmt.Errorf("level %d of %s cannot be judged: %w", l, def.ID, err)
		}
		tried := Tried{l, rl.Source(), Failed}
		switch {
		case v.Holds:
			tried.Outcome = Held
			c.Tried = append(c.Tried, tried)
			c.Rule = rl.Source()
			c.give(l, def.Anchors[l], v.Evidence)
			return c, nil
		case v.Undecided:
			tried.Outcome = Missing
			missing.Missing = union(missing.Missing, v.Missing)
			missing.Evidence = union(missing.Evidence, v.Evidence)
			missing.Undecided = true
		default:
			failed.Evidence = union(failed.Evidence, v.Evidence)
		}
		c.Tried = append(c.Tried, tried)
	}
	if missing.Undecided {
		c.notShown(missing)
		return c, nil
	}
	c.give(1, def.Anchors[1], failed.Evidence)
	return c, nil
}

func union[E comparable](into, from []E) []E {
	for _, e := range from {
		if !slices.Contains(into, e) {
			into = append(into, e)
		}
	}
	return into
}

// cap lowers the level by the critical errors that name the criterion, and says so. A criterion
// that was not shown stays so.
func (c *Criterion) cap(errors []CriticalError, def *rubric.Criterion) {
	c.Uncapped = c.Level
	for _, e := range errors {
		for _, k := range e.Caps {
			if k.Criterion == c.ID && c.Level > k.Level {
				c.Level = k.Level
				c.CappedBy = append(c.CappedBy, e.ID)
				c.Reason = fmt.Sprintf("%s Brought down to level %d by the critical error %q at second %.1f: %s", c.Reason, k.Level, e.ID, e.Second, sentence(e.Why))
			}
		}
	}
	if c.Level != c.Uncapped {
		c.LevelName = rubric.TheStandard().Levels[c.Level].Name
		c.Anchor = def.Anchors[c.Level]
	}
}

// critical says whether a critical error was committed, and where.
func critical(record *rubric.Record, def *rubric.CriticalError) (CriticalError, bool, error) {
	e := CriticalError{ID: def.ID, Why: def.Why, Decision: -1, Second: record.End(), Rule: def.When.Source(), Caps: def.Caps}
	v, err := record.Judge(def.When)
	if err != nil {
		return e, false, fmt.Errorf("the critical error %s cannot be judged: %w", def.ID, err)
	}
	if !v.Holds {
		return e, false, nil
	}
	e.Evidence = v.Evidence
	if at, ok := record.First(def.At); ok {
		e.Decision, e.Second = at.Decision, at.Second
		return e, true, nil
	}
	// The error was complete when the last thing its rule saw had come.
	for _, x := range v.Evidence {
		if x.Decision >= 0 && (e.Decision < 0 || x.Second > e.Second) {
			e.Decision, e.Second = x.Decision, x.Second
		}
	}
	return e, true, nil
}
