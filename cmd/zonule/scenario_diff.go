package main

import (
	"fmt"
	"os"
	"path/filepath"

	"zonule/scenarios/author"
	"zonule/scenarios/library"
)

type scenarioDiffCmd struct {
	Old string `arg:"" help:"The older version: a scenario's file or folder." placeholder:"OLD"`
	New string `arg:"" help:"The newer version." placeholder:"NEW"`
}

// Help says which recordings are played.
func (scenarioDiffCmd) Help() string {
	return "Says what changed between two versions, and which of the recordings in the replays folders beside them come to another result."
}

// Run compares. Differences do not fail the command.
func (c *scenarioDiffCmd) Run(sh *shell) error {
	old, err := one(c.Old)
	if err != nil {
		return err
	}
	now, err := one(c.New)
	if err != nil {
		return err
	}
	changes := author.Diff(old.scenario, now.scenario)
	for _, ch := range changes {
		fmt.Fprintln(sh.out, ch)
	}
	if len(changes) == 0 {
		fmt.Fprintln(sh.out, "Both versions mean the same.")
	}
	recordings, err := readRecordings(old.file, now.file)
	if err != nil {
		return err
	}
	differ := 0
	for _, r := range author.Reruns(old.scenario, now.scenario, old.judge(), now.judge(), recordings) {
		if len(r.Differ) > 0 {
			differ++
			fmt.Fprintf(sh.out, "recording %s: %s before, %s now\n", r.Name, ended(r.Was), ended(r.Now))
		}
		for _, d := range r.Differ {
			fmt.Fprintf(sh.out, "  %s\n", d)
		}
	}
	fmt.Fprintf(sh.out, "%d changes; %d of %d recordings come to another result.\n", len(changes), differ, len(recordings))
	return nil
}

func ended(r author.Result) string {
	switch {
	case r.Ending == "":
		return "no ending"
	case r.Safe:
		return r.Ending + " (safe)"
	}
	return r.Ending + " (not safe)"
}

// readRecordings reads the replays beside both versions; one of the same name counts once, the newer version's.
func readRecordings(old, now string) ([]author.Recording, error) {
	var out []author.Recording
	read := map[string]bool{}
	for _, file := range []string{now, old} {
		names, err := filepath.Glob(filepath.Join(filepath.Dir(file), replaysDir, "*.yaml"))
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			if read[filepath.Base(name)] {
				continue
			}
			read[filepath.Base(name)] = true
			data, err := os.ReadFile(name)
			if err != nil {
				return nil, err
			}
			r, err := library.ParseReplay(name, data)
			if err != nil {
				return nil, err
			}
			out = append(out, author.Recording{Name: r.Name, Options: r.Options, Decisions: r.Decisions})
		}
	}
	return out, nil
}
