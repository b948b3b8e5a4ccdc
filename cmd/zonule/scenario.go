package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/scenarios/script/text"
	"zonule/services/scenario"
)

// scenarioCmd groups what can be done with scenarios.
type scenarioCmd struct {
	Check   scenarioCheckCmd   `cmd:"" help:"Read scenarios and their rubrics as strictly as publishing does. Exit code 1 when anything is wrong."`
	Publish scenarioPublishCmd `cmd:"" help:"Publish a scenario with its rubric on a running site."`
}

// rubricFile is the name a scenario's rubric has beside it.
const rubricFile = "rubric.yaml"

type scenarioCheckCmd struct {
	Paths []string `arg:"" help:"Scenario files, or folders holding scenario.yaml; a rubric.yaml beside a scenario is checked with it." placeholder:"PATH"`
}

// Run checks every path and says all that is wrong, one problem a line.
func (c *scenarioCheckCmd) Run(sh *shell) error {
	var all text.Problems
	checked := 0
	for _, path := range c.Paths {
		files, err := scenarioFiles(path)
		if err != nil {
			return err
		}
		for _, f := range files {
			checked++
			var ps text.Problems
			if err := checkPair(f); errors.As(err, &ps) {
				all = append(all, ps...)
			} else if err != nil {
				return err
			}
		}
	}
	if len(all) > 0 {
		return all
	}
	fmt.Fprintf(sh.out, "%d scenarios: nothing is wrong with their form. Whether they teach what is right is for a clinician to review.\n", checked)
	return nil
}

// scenarioFiles gives a file itself, or every scenario.yaml at or below a folder.
func scenarioFiles(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	var files []string
	err = filepath.WalkDir(path, func(p string, d os.DirEntry, err error) error {
		if err == nil && d.Name() == "scenario.yaml" {
			files = append(files, p)
		}
		return err
	})
	if err == nil && len(files) == 0 {
		err = fmt.Errorf("%s holds no scenario.yaml", path)
	}
	return files, err
}

// checkPair reads a scenario and, if one lies beside it, its rubric.
func checkPair(file string) error {
	source, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	sc, err := scenario.CheckScenario(file, source)
	if err != nil {
		return err
	}
	beside := filepath.Join(filepath.Dir(file), rubricFile)
	if !strings.HasSuffix(file, "scenario.yaml") {
		return nil
	}
	data, err := os.ReadFile(beside)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = scenario.CheckRubric(beside, data, sc)
	return err
}

type scenarioPublishCmd struct {
	remote
	Scenario string `arg:"" help:"The scenario's file." type:"existingfile"`
	Rubric   string `arg:"" help:"The rubric's file." type:"existingfile"`
}

// Run checks both files here, so that problems name them, and publishes them.
func (c *scenarioPublishCmd) Run(ctx context.Context, sh *shell) error {
	source, err := os.ReadFile(c.Scenario)
	if err != nil {
		return err
	}
	rubric, err := os.ReadFile(c.Rubric)
	if err != nil {
		return err
	}
	sc, err := scenario.CheckScenario(c.Scenario, source)
	if err != nil {
		return err
	}
	if _, err := scenario.CheckRubric(c.Rubric, rubric, sc); err != nil {
		return err
	}
	clients, closeConn, err := c.connect(ctx)
	if err != nil {
		return err
	}
	defer closeConn()
	answer, err := clients.Scenario.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: newRequestID(), Source: source, RubricSource: rubric})
	if err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "%s is published as %s.\n", answer.GetVersion().GetScenarioId(), answer.GetVersion().GetDigest())
	return nil
}
