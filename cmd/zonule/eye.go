package main

import (
	"fmt"
	"runtime"

	"zonule/scenarios/eye"
	"zonule/scenarios/eye/policy"
)

// eyeCmd groups what can be done with the model eye by itself.
type eyeCmd struct {
	Check       eyeCheckCmd       `cmd:"" help:"Hold the model eye against a table of reference numbers. Exit code 1 when a row fails."`
	Policies    eyePoliciesCmd    `cmd:"" help:"Play fixed plans on four eyes and print what became of them."`
	Sensitivity eyeSensitivityCmd `cmd:"" help:"Play the plans again with uncertain parameters drawn anew, and print which orderings hold."`
	Run         eyeRunCmd         `cmd:"" help:"Play a list of actions on an eye and print state and findings. Exit code 1 when an action was refused."`
	Plot        eyePlotCmd        `cmd:"" help:"Draw a surge, a withdrawal and the load of the zonules as SVG."`
}

// illustrative ends everything a person may read as a statement about eyes.
const illustrative = "Illustrative, for training only; never clinical advice, not for use on or about a patient."

type eyePoliciesCmd struct {
	Seeds   int `help:"Paired seeds, from 1 on." default:"20" placeholder:"N"`
	Workers int `help:"Plans played at a time; changes nothing but the time it takes. 0: as many as there are cores." default:"0" placeholder:"N"`
}

// Run plays and prints the table.
func (c *eyePoliciesCmd) Run(sh *shell) error {
	if c.Seeds < 1 || c.Seeds > 10000 {
		return fmt.Errorf("--seeds is %d; give 1 to 10000", c.Seeds)
	}
	cells, err := policy.Table(c.Seeds, workers(c.Workers))
	if err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "Plans on %s, %d paired seeds each. The harm index orders plans; it is no grade and no probability.\n\n", eye.Model, c.Seeds)
	fmt.Fprintf(sh.out, "%s\n%s\n", policy.Format(cells), illustrative)
	return nil
}

type eyeSensitivityCmd struct {
	Draws   int `help:"Draws of 13 uncertain parameters." default:"40" placeholder:"N"`
	Seeds   int `help:"Paired seeds under each draw." default:"6" placeholder:"N"`
	Workers int `help:"Draws played at a time; changes nothing but the time it takes. 0: as many as there are cores." default:"0" placeholder:"N"`
}

// Run plays and prints the table.
func (c *eyeSensitivityCmd) Run(sh *shell) error {
	if c.Draws < 1 || c.Draws > 1000 || c.Seeds < 1 || c.Seeds > 1000 {
		return fmt.Errorf("--draws is %d and --seeds %d; give 1 to 1000 of each", c.Draws, c.Seeds)
	}
	all, err := policy.Sensitivity(c.Draws, c.Seeds, workers(c.Workers))
	if err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "Draws in which a plan did more mean harm than P0 (smallest and median margin); %s, %d seeds a draw, each of 13 parameters times exp(0.3 n).\n\n", eye.Model, c.Seeds)
	fmt.Fprintf(sh.out, "%s\n%s\n", policy.FormatSensitivity(all), illustrative)
	return nil
}

func workers(asked int) int {
	if asked > 0 {
		return asked
	}
	return runtime.GOMAXPROCS(0)
}
