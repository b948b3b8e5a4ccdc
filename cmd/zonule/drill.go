package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/term"
	"google.golang.org/grpc/codes"

	"zonule/cmd/zonule/cast"
	"zonule/cmd/zonule/site"
	"zonule/cmd/zonule/terminal"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/fault"
)

// drillCmd plays a drill in the terminal. Without a running site it brings one up on a temporary folder.
type drillCmd struct {
	remote
	Scenario string `arg:"" optional:"" help:"Scenario to play; without one the list is shown and asked for."`
	As       string `help:"Who plays: the id of a trainee." default:"guest" placeholder:"ID"`
	Variant  string `help:"Variant to play; the seed chooses when none is named."`
	Seed     uint64 `help:"Seed of the run, to play the same circumstances again; drawn when 0."`
	ClockOff bool   `help:"Switch time limits off."`
	Bench    string `help:"Bench it is played at."`
	Resume   string `help:"Take up this running drill where it stands." placeholder:"DRILL"`
	List     bool   `help:"List the scenarios with their ids and end. For facilitators."`
	Alone    bool   `help:"Play on a temporary site of its own even if one is running; nothing is kept."`
}

// Help says how lines are typed when the input is not a terminal.
func (drillCmd) Help() string {
	return "On a terminal single keys decide. From a pipe each line is one decision: a choice's number or id, then " +
		"optionally @SECONDS of thinking and a reason, such as: hold @2.5 the bag moves with the tip. " +
		"f ACTIONS takes free actions, such as: f @3 pedal 1 for=2s; say stop"
}

// Run plays.
func (c *drillCmd) Run(ctx context.Context, sh *shell) error {
	clients, done, err := c.site(ctx, sh)
	if err != nil {
		return err
	}
	defer done()
	if c.List {
		return listScenarios(ctx, sh, clients)
	}
	in, err := terminal.NewInput(sh.in)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out := terminal.Cooked(sh.out, in.Live())
	p := &terminal.Player{Drills: clients.Drill, Assessments: clients.Assessment, Scenarios: clients.Scenario, In: in, Out: out, Style: style(sh), Now: time.Now}
	if c.Resume != "" {
		return p.Resume(ctx, c.Resume)
	}
	if c.Scenario == "" {
		if c.Scenario, err = p.Pick(ctx); err != nil {
			return err
		}
	}
	err = p.Start(ctx, &drillv1.StartDrillRequest{PersonId: c.As, ScenarioId: c.Scenario, Variant: c.Variant, Seed: c.Seed, ClockOff: c.ClockOff, Bench: c.Bench})
	if fault.Reason(err) == "NO_SUCH_PERSON" {
		return fmt.Errorf("nobody has the id %q here; see zonule person list, and say who plays with --as", c.As)
	}
	return err
}

// site gives the running site, or one of the drill's own with a guest enrolled.
func (c *drillCmd) site(ctx context.Context, sh *shell) (site.Clients, func(), error) {
	if !c.Alone && c.reachable(ctx) {
		return c.connect(ctx)
	}
	if c.Resume != "" {
		return site.Clients{}, nil, fmt.Errorf("no site answers at %s, so there is no drill to take up; start the site on its data folder first", c.Server)
	}
	dir, err := os.MkdirTemp("", "zonule-drill-")
	if err != nil {
		return site.Clients{}, nil, err
	}
	s, err := site.Open(ctx, site.Config{Data: dir, Programme: "alone", Site: "alone", Log: sh.log})
	if err != nil {
		return site.Clients{}, nil, errors.Join(err, os.RemoveAll(dir))
	}
	done := func() { _ = s.Close(); _ = os.RemoveAll(dir) }
	fmt.Fprintf(sh.err, "No site answers at %s: playing on a temporary one; nothing is kept.\n", c.Server)
	if err := errors.Join(s.PublishLibrary(ctx), enrolGuest(ctx, s.Clients)); err != nil {
		done()
		return site.Clients{}, nil, err
	}
	return s.Clients, done, nil
}

func enrolGuest(ctx context.Context, c site.Clients) error {
	_, err := c.Roster.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "guest", PersonId: cast.Guest, DisplayName: "Guest", Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
	if fault.Code(err) == codes.AlreadyExists {
		return nil
	}
	return err
}

func listScenarios(ctx context.Context, sh *shell, c site.Clients) error {
	for token := ""; ; {
		page, err := c.Scenario.ListScenarios(ctx, &scenariov1.ListScenariosRequest{PageToken: token})
		if err != nil {
			return err
		}
		for _, v := range page.GetVersions() {
			fmt.Fprintf(sh.out, "%-28s %-30s reviewed by: %s\n", v.GetScenarioId(), v.GetShownAs(), v.GetReviewedBy())
		}
		if token = page.GetNextPageToken(); token == "" {
			return nil
		}
	}
}

// style asks the terminal how wide it is and whether bold and dim are wanted.
func style(sh *shell) terminal.Style {
	st := terminal.Style{Width: 80}
	f, ok := sh.out.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return st
	}
	_, plain := os.LookupEnv("NO_COLOR")
	st.Rich = !plain && os.Getenv("TERM") != "dumb"
	if w, _, err := term.GetSize(int(f.Fd())); err == nil {
		st.Width = w
	}
	return st
}
