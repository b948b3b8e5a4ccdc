package main

import (
	"fmt"
	"os"

	"zonule/scenarios/eye/checks"
)

type eyeCheckCmd struct {
	File     string `arg:"" help:"A table in the form of testdata/eye/checks.csv." type:"existingfile" placeholder:"FILE.csv"`
	MaxSeeds int    `help:"Run at most so many of the seeds a row names; 0 runs all." default:"0" placeholder:"N"`
	Verbose  bool   `help:"Print the rows that pass too." short:"v" name:"rows"`
}

// Run prints one line for each row that fails and, last, how many passed and failed.
func (c *eyeCheckCmd) Run(sh *shell) error {
	f, err := os.Open(c.File)
	if err != nil {
		return err
	}
	defer f.Close()
	rows, err := checks.Read(f)
	if err != nil {
		return fmt.Errorf("%s: %w", c.File, err)
	}
	checker := &checks.Checker{MaxSeeds: c.MaxSeeds, Workers: workers(0)}
	failed := 0
	for _, row := range rows {
		v := checker.Check(row)
		switch {
		case !v.OK:
			failed++
			fmt.Fprintf(sh.out, "FAIL %s\n", v)
		case c.Verbose:
			fmt.Fprintf(sh.out, "ok   %s %s: %s\n", row.ID, row.Quantity, v.Got)
		}
	}
	fmt.Fprintf(sh.out, "eye: %d passed, %d failed\n", len(rows)-failed, failed)
	if failed > 0 {
		return errSaid
	}
	return nil
}
