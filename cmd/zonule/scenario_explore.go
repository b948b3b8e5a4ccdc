package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"zonule/scenarios/author"
)

type scenarioExploreCmd struct {
	Paths   []string `arg:"" help:"Scenario files or folders; rubric.yaml and policies.yaml beside a scenario are used." placeholder:"PATH"`
	Seed    uint64   `help:"Seed of everything: the same seed gives the same report." default:"1"`
	Seeds   int      `help:"Drills begun in each variant." default:"2"`
	Depth   int      `help:"Play every way through so many first decisions." default:"3"`
	Samples int      `help:"Drills by chance for each drill begun." default:"300"`
	Workers int      `help:"How many to play at a time; 0 for one a core. The report does not depend on it." default:"0"`
	JSON    bool     `name:"json" help:"Write the reports as JSON, one array."`
}

// Help says what the numbers are.
func (scenarioExploreCmd) Help() string {
	return "Plays the author's way (the first policy) and every single turn away from it, every way to a depth, the other policies, and drills by chance; " +
		"says which endings come how often, which criteria move, how the author's way compares, and what an author should look at. " +
		"The eye is a model with chosen numbers: this shows what the scenario expresses, not that the lesson is true."
}

// Run explores each scenario. What an author should look at does not fail the command.
func (c *scenarioExploreCmd) Run(sh *shell) error {
	var reports []*author.Report
	for _, path := range c.Paths {
		files, err := scenarioFiles(path)
		if err != nil {
			return err
		}
		for _, file := range files {
			r, err := c.explore(sh, file)
			if err != nil {
				return err
			}
			reports = append(reports, r)
		}
	}
	if c.JSON {
		out := json.NewEncoder(sh.out)
		out.SetIndent("", " ")
		return out.Encode(reports)
	}
	for _, r := range reports {
		writeReport(sh.out, r)
	}
	return nil
}

func (c *scenarioExploreCmd) explore(sh *shell, file string) (*author.Report, error) {
	f, err := openFolder(file)
	if err != nil {
		return nil, err
	}
	bar := progress(sh, f.scenario.ID)
	r, err := author.Explore(f.scenario, author.Plan{Seed: c.Seed, Seeds: c.Seeds, Depth: c.Depth, Samples: c.Samples, Policies: f.policies, Judge: f.judge(), Workers: c.Workers, Progress: bar})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return r, nil
}

// progress draws a bar on standard error when that is a terminal.
func progress(sh *shell, name string) func(done, total int) {
	if !isTerminal(sh.err) {
		return nil
	}
	return func(done, total int) {
		const width = 30
		full := width * done / total
		fmt.Fprintf(sh.err, "\r%-24s [%s%s] %d/%d", name, strings.Repeat("=", full), strings.Repeat(" ", width-full), done, total)
		if done == total {
			fmt.Fprintln(sh.err)
		}
	}
}

// writeReport writes a report for a person.
func writeReport(w io.Writer, r *author.Report) {
	fmt.Fprintf(w, "%s (version %.12s), seed %d, %d drills begun in each variant, every way to depth %d, %d by chance each\n", r.Scenario, r.Digest, r.Seed, r.Seeds, r.Depth, r.Samples)
	fmt.Fprintf(w, "  %d complete drills; %.0f to %.0f decisions (median %.0f), %.0f to %.0f s (median %.0f)\n", r.Drills, r.Decisions.Least, r.Decisions.Most, r.Decisions.Median, r.Seconds.Least, r.Seconds.Most, r.Seconds.Median)
	fmt.Fprintf(w, "  author's way: mean level %.2f (others %.2f), harm index %.1f (others %.1f); higher marks in %.1f %%, less harm (by over half a point) in %.1f %% of drills; %d critical errors\n",
		r.Way.Marks, r.Way.OthersMark, r.Way.Harm, r.Way.OthersHarm, 100*r.Way.Higher, 100*r.Way.Safer, r.Way.Critical)
	for _, e := range r.Endings {
		safe := "not safe"
		if e.Safe {
			safe = "safe"
		}
		fmt.Fprintf(w, "  ending %-24s %-8s %6d  %5.1f %%\n", e.ID, safe, e.Count, 100*e.Share)
	}
	for _, m := range r.Criteria {
		fmt.Fprintf(w, "  criterion %-4s not shown %d; levels 1 to 5: %d %d %d %d %d\n", m.Criterion, m.Levels[0], m.Levels[1], m.Levels[2], m.Levels[3], m.Levels[4], m.Levels[5])
	}
	for _, e := range r.Critical {
		fmt.Fprintf(w, "  critical error %-28s %6d  %5.1f %%\n", e.ID, e.Count, 100*e.Share)
	}
	fmt.Fprintf(w, "  %-20s %-26s %-11s %7s %7s %7s %7s\n", "stage", "choice", "stance", "taken", "marks", "harm", "errors")
	for _, c := range r.Choices {
		change := fmt.Sprintf("%+7.2f %+7.1f %+7.1f", c.Marks, c.Harm, c.Critical)
		if c.Own {
			change = "    the author's way"
		} else if c.Turns == 0 {
			change = "    not compared"
		}
		fmt.Fprintf(w, "  %-20s %-26s %-11s %7d %s\n", c.Stage, c.Choice, c.Stance, c.Taken, change)
	}
	if len(r.Look) == 0 {
		fmt.Fprintln(w, "  nothing to look at")
	}
	for _, s := range r.Look {
		fmt.Fprintf(w, "  look at: %s\n", s)
	}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
