package main

import (
	"fmt"
	"os"

	"zonule/scenarios/author"
)

type scenarioDrawCmd struct {
	Path string `arg:"" help:"A scenario's file, or its folder." placeholder:"PATH"`
	Out  string `short:"o" help:"File to write; standard output when none is named." placeholder:"FILE.svg"`
	Seed uint64 `help:"Seed of the drills played to see where choices lead." default:"1"`
}

// Help says what it is.
func (scenarioDrawCmd) Help() string {
	return "Draws the branches of a scenario on an A3 sheet, as SVG. The drawing gives the case away: it is for teachers."
}

// Run draws.
func (c *scenarioDrawCmd) Run(sh *shell) error {
	f, err := one(c.Path)
	if err != nil {
		return err
	}
	drawing := author.Draw(f.scenario, author.Learn(f.scenario, c.Seed))
	if c.Out == "" {
		_, err := sh.out.Write(drawing)
		return err
	}
	if err := os.WriteFile(c.Out, drawing, 0o644); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "%s is drawn in %s, for teachers.\n", f.scenario.ID, c.Out)
	return nil
}
