package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"zonule/cmd/zonule/cast"
	"zonule/cmd/zonule/site"
	"zonule/cmd/zonule/terminal"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
)

type scenarioPlayCmd struct {
	Path     string `arg:"" help:"A scenario's folder, with its rubric." placeholder:"PATH"`
	Variant  string `help:"Variant to play; the seed chooses when none is named."`
	Seed     uint64 `help:"Seed of the run, to play the same circumstances again; drawn when 0."`
	ClockOff bool   `help:"Switch time limits off."`
}

// Help says where it is played.
func (scenarioPlayCmd) Help() string {
	return "Plays a scenario of one's own in the terminal, on a temporary site; nothing is kept. Lines are typed as for zonule drill."
}

// Run publishes the scenario on a temporary site and plays it there.
func (c *scenarioPlayCmd) Run(ctx context.Context, sh *shell) error {
	f, err := one(c.Path)
	if err != nil {
		return err
	}
	if f.rubric == nil {
		return fmt.Errorf("%s has no %s beside it, so nothing could judge the drill; write one, or begin with zonule scenario new", f.file, rubricFile)
	}
	rubric, _, err := beside(f.file, rubricFile)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "zonule-play-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	s, err := site.Open(ctx, site.Config{Data: filepath.Join(dir, "data"), Programme: "alone", Site: "alone", Log: sh.log})
	if err != nil {
		return err
	}
	defer func() { _ = s.Close() }()
	_, err = s.Clients.Scenario.PublishScenario(ctx, &scenariov1.PublishScenarioRequest{RequestId: newRequestID(), Source: f.source, RubricSource: rubric})
	if err := errors.Join(err, enrolGuest(ctx, s.Clients)); err != nil {
		return err
	}
	in, err := terminal.NewInput(sh.in)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	p := &terminal.Player{Drills: s.Clients.Drill, Scenarios: s.Clients.Scenario, Assessments: s.Clients.Assessment, In: in, Out: terminal.Cooked(sh.out, in.Live()), Style: style(sh), Now: time.Now}
	return p.Start(ctx, &drillv1.StartDrillRequest{PersonId: cast.Guest, ScenarioId: f.scenario.ID, Variant: c.Variant, Seed: c.Seed, ClockOff: c.ClockOff})
}
