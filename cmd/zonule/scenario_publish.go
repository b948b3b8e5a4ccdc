package main

import (
	"context"
	"fmt"
	"os"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/scenario"
)

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
