package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"zonule/scenarios/author"
)

type scenarioNewCmd struct {
	Name string `arg:"" help:"The new scenario's id, which becomes its folder. A trainee may see it: let it say nothing about the case." placeholder:"NAME"`
	In   string `help:"Folder to put it in." default:"."`
}

// Run writes a new scenario's folder; one that exists is left alone.
func (c *scenarioNewCmd) Run(sh *shell) error {
	files, err := author.New(c.Name)
	if err != nil {
		return err
	}
	dir := filepath.Join(c.In, c.Name)
	if err := os.Mkdir(dir, 0o755); errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s exists already; choose another name, or take it away first", dir)
	} else if err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f.Name), []byte(f.Text), 0o644); err != nil {
			return err
		}
	}
	fmt.Fprintf(sh.out, "%s holds a small invented case with a comment on every part. Change it to yours, then:\n", dir)
	for _, line := range []string{"check %s", "draw %s -o " + c.Name + ".svg", "play %s", "explore %s"} {
		fmt.Fprintf(sh.out, "  zonule scenario "+line+"\n", dir)
	}
	return nil
}
