package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"zonule/scenarios/library"
	"zonule/scenarios/script"
)

type scenarioListCmd struct {
	Paths []string `arg:"" optional:"" help:"Scenario files or folders; the library that comes with the program when none is named." placeholder:"PATH"`
	JSON  bool     `name:"json" help:"Write the list as JSON."`
}

// listed is what list says about a scenario. It gives the case away: it is for teachers.
type listed struct {
	ID           string   `json:"id"`
	ShownAs      string   `json:"shown_as"`
	Complication string   `json:"complication"`
	Variants     []string `json:"variants"`
	Competencies []string `json:"competencies"`
	Normal       bool     `json:"normal"`
	ReviewedBy   string   `json:"reviewed_by"`
	ReviewDue    string   `json:"review_due"`
	Digest       string   `json:"digest"`
}

// Run lists.
func (c *scenarioListCmd) Run(sh *shell) error {
	all, err := c.read()
	if err != nil {
		return err
	}
	if c.JSON {
		out := json.NewEncoder(sh.out)
		out.SetIndent("", " ")
		return out.Encode(all)
	}
	fmt.Fprintln(sh.out, "For teachers: this gives the cases away.")
	for _, l := range all {
		fmt.Fprintf(sh.out, "%-22s %-40s %-21s %-29s reviewed by: %s\n", l.ID, l.Complication, strings.Join(l.Variants, " "), strings.Join(l.Competencies, " "), l.ReviewedBy)
	}
	return nil
}

func (c *scenarioListCmd) read() ([]listed, error) {
	all := []listed{}
	if len(c.Paths) == 0 {
		items, err := library.All()
		for _, it := range items {
			all = append(all, describe(it.Scenario))
		}
		return all, err
	}
	for _, path := range c.Paths {
		files, err := scenarioFiles(path)
		if err != nil {
			return nil, err
		}
		for _, file := range files {
			f, err := openFolder(file)
			if err != nil {
				return nil, err
			}
			all = append(all, describe(f.scenario))
		}
	}
	return all, nil
}

func describe(sc *script.Scenario) listed {
	l := listed{ID: sc.ID, ShownAs: sc.ShownAs, Complication: sc.Complication, Competencies: sc.Evidences, Normal: sc.Normal(), ReviewedBy: sc.ReviewedBy, ReviewDue: sc.ReviewDue, Digest: sc.Digest}
	for _, v := range sc.Variants {
		l.Variants = append(l.Variants, v.Name)
	}
	return l
}
