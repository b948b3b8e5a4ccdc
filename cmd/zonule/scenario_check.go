package main

import (
	"errors"
	"fmt"
	"os"
	"slices"

	"zonule/scenarios/author"
	"zonule/scenarios/script/overlay"
	"zonule/scenarios/script/text"
)

type scenarioCheckCmd struct {
	Paths   []string `arg:"" help:"Scenario files, or folders holding scenario.yaml; a rubric.yaml and a policies.yaml beside a scenario are checked with it." placeholder:"PATH"`
	Overlay string   `help:"A programme's overlay: check the scenarios as it changes them, too." placeholder:"FILE"`
	Untried bool     `help:"Look at the text only; do not play the scenario."`
}

// Run checks every path and says all that is wrong, one problem a line, to standard error; advice goes to
// standard output and does not fail the check.
func (c *scenarioCheckCmd) Run(sh *shell) error {
	local, err := c.readOverlay()
	if err != nil {
		return err
	}
	var wrong, advice text.Problems
	checked, unreviewed := 0, 0
	for _, path := range c.Paths {
		files, err := scenarioFiles(path)
		if err != nil {
			return err
		}
		for _, file := range files {
			checked++
			var ps text.Problems
			f, err := openFolder(file)
			if errors.As(err, &ps) {
				wrong = append(wrong, ps...)
				continue
			} else if err != nil {
				return err
			}
			v := author.Check(f.scenario, author.Known{Today: today(), Evidence: f.evidence(), Untried: c.Untried})
			wrong, advice = append(wrong, v.Wrong...), append(advice, v.Advice...)
			if local != nil {
				wrong = append(wrong, c.overlaid(f, v, local)...)
			}
			if f.scenario.ReviewedBy == "none yet" {
				unreviewed++
			}
		}
	}
	for _, a := range advice {
		fmt.Fprintf(sh.out, "advice: %s\n", a)
	}
	for _, id := range local.unmet() {
		wrong = append(wrong, local.Problem(id, fmt.Sprintf("no scenario %q was checked", id), "name its file or folder too, or correct the id"))
	}
	if len(wrong) > 0 {
		return wrong
	}
	for _, line := range local.lines() {
		fmt.Fprintln(sh.out, line)
	}
	fmt.Fprintf(sh.out, "%d scenarios: nothing is wrong with their form. Whether they teach what is right is for a clinician to review; %d have not been reviewed yet.\n", checked, unreviewed)
	return nil
}

// localRules is an overlay with what became of the scenarios it met.
type localRules struct {
	*overlay.Overlay
	met []string
	say []string
}

func (c *scenarioCheckCmd) readOverlay() (*localRules, error) {
	if c.Overlay == "" {
		return nil, nil
	}
	data, err := os.ReadFile(c.Overlay)
	if err != nil {
		return nil, err
	}
	o, err := overlay.Parse(c.Overlay, data)
	if err != nil {
		return nil, err
	}
	return &localRules{Overlay: o}, nil
}

// overlaid checks the scenario as the overlay changes it; what was wrong before is not said again.
func (c *scenarioCheckCmd) overlaid(f folder, before author.Verdict, local *localRules) text.Problems {
	changed, err := overlay.Apply(f.scenario, local.Overlay)
	var ps text.Problems
	switch {
	case changed == f.scenario:
		return nil
	case errors.As(err, &ps):
		local.met = append(local.met, f.scenario.ID)
		return ps
	case err != nil:
		return text.Problems{local.Problem(f.scenario.ID, err.Error(), "")}
	}
	local.met = append(local.met, changed.ID)
	local.say = append(local.say, fmt.Sprintf("%s with %s version %d, approved by %s: %.12s becomes %.12s", changed.ID, changed.Overlay.ID, changed.Overlay.Version, local.ApprovedBy, changed.Overlay.Base, changed.Digest))
	for _, p := range author.Check(changed, author.Known{Evidence: f.evidence(), Untried: c.Untried}).Wrong {
		if !slices.ContainsFunc(before.Wrong, func(q text.Problem) bool { return q.Message == p.Message }) {
			ps = append(ps, local.Problem(changed.ID, "with these changes: "+p.Message, p.Do))
		}
	}
	return ps
}

// unmet lists the scenarios the overlay names and that were not checked.
func (l *localRules) unmet() []string {
	if l == nil {
		return nil
	}
	return slices.DeleteFunc(l.Scenarios(), func(id string) bool { return slices.Contains(l.met, id) })
}

func (l *localRules) lines() []string {
	if l == nil {
		return nil
	}
	return l.say
}
