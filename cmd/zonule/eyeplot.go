package main

import (
	"fmt"
	"os"
	"path/filepath"
)

type eyePlotCmd struct {
	Out string `help:"Folder the SVG files are written to." short:"o" default:"." placeholder:"DIR" type:"existingdir"`
}

// Run draws the three pictures of the manual.
func (c *eyePlotCmd) Run(sh *shell) error {
	for _, p := range []struct {
		name string
		draw func() ([]byte, error)
	}{{"surge.svg", drawSurge}, {"withdrawal.svg", drawWithdrawal}, {"zonules.svg", drawZonules}} {
		data, err := p.draw()
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		path := filepath.Join(c.Out, p.name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			return err
		}
		fmt.Fprintf(sh.out, "%s, %d bytes\n", path, len(data))
	}
	return nil
}
