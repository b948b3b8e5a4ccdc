package main

import (
	"errors"
	"fmt"

	"zonule/scenarios/author"
	"zonule/scenarios/script/text"
)

type scenarioCheckCmd struct {
	Paths   []string `arg:"" help:"Scenario files, or folders holding scenario.yaml; a rubric.yaml and a policies.yaml beside a scenario are checked with it." placeholder:"PATH"`
	Untried bool     `help:"Look at the text only; do not play the scenario."`
}

// Run checks every path and says all that is wrong, one problem a line, to standard error; advice goes to
// standard output and does not fail the check.
func (c *scenarioCheckCmd) Run(sh *shell) error {
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
			if f.scenario.ReviewedBy == "none yet" {
				unreviewed++
			}
		}
	}
	for _, a := range advice {
		fmt.Fprintf(sh.out, "advice: %s\n", a)
	}
	if len(wrong) > 0 {
		return wrong
	}
	fmt.Fprintf(sh.out, "%d scenarios: nothing is wrong with their form. Whether they teach what is right is for a clinician to review; %d have not been reviewed yet.\n", checked, unreviewed)
	return nil
}
