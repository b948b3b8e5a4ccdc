package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"zonule/cmd/zonule/cast"
	"zonule/cmd/zonule/site"
	"zonule/services/clock"
)

// demoCmd runs an invented programme.
type demoCmd struct {
	Data     string `help:"Folder to keep the invented programme in; a temporary one, removed at the end, when none is given." placeholder:"DIR" type:"path"`
	Once     bool   `help:"Play, print a summary, check the ledger, and end."`
	Trainees int    `help:"How many trainees to invent, 1 to 12." default:"8"`
	Sessions int    `help:"How many sessions of the wet lab each trainee attends, 1 to 60." default:"30"`
	Seed     uint64 `help:"Seed of the invented programme; the same seed gives the same drills." default:"1"`
	Listen   string `help:"Where gRPC listens; loopback." default:"127.0.0.1:7410" placeholder:"HOST:PORT"`
	Pages    string `help:"Where the pages are served; loopback." default:"127.0.0.1:7480" placeholder:"HOST:PORT"`
}

// Run brings the site up first, so that pages can be opened while the drills are played.
func (c *demoCmd) Run(ctx context.Context, sh *shell) error {
	if c.Trainees < 1 || c.Trainees > cast.MostTrainees || c.Sessions < 1 || c.Sessions > 60 {
		return fmt.Errorf("trainees are 1 to %d and sessions 1 to 60", cast.MostTrainees)
	}
	if c.Once {
		c.Listen, c.Pages = "", ""
	}
	dir, remove, err := c.folder()
	if err != nil {
		return err
	}
	defer remove()
	plan := cast.Plan{Trainees: c.Trainees, Rounds: c.Sessions, Seed: c.Seed, End: lastSession()}
	calendar := clock.NewSet(plan.End.AddDate(0, 0, -7*c.Sessions-30))
	s, err := site.Open(ctx, site.Config{Data: dir, Programme: "invented", Site: "demo", Listen: c.Listen, Pages: c.Pages, Clock: calendar, Log: sh.log})
	if err != nil {
		return err
	}
	fmt.Fprintln(sh.out, "Zonule, a demonstration: programme, people and dates are invented; the drills are played by decision")
	fmt.Fprintln(sh.out, "policies through the real engine. For training only, not for use on or about a patient.")
	if !c.Once {
		fmt.Fprintln(sh.out)
		printPlaces(sh, s, dir)
	}
	if err := c.fill(ctx, sh, s, calendar, plan); err != nil {
		_ = s.Close()
		return err
	}
	if c.Once {
		err := summarise(ctx, sh, s)
		if closing := s.Close(); err == nil {
			err = closing
		}
		return err
	}
	fmt.Fprintf(sh.out, "\nA trainee's page:    http://%s/trainees/trainee-03?c=C4\n", s.PagesAddr())
	fmt.Fprintf(sh.out, "Your own, to watch:  http://%s/trainees/%s\n", s.PagesAddr(), cast.Guest)
	fmt.Fprintln(sh.out, "Play a drill in another terminal: go run ./cmd/zonule drill")
	fmt.Fprintln(sh.out, "Ctrl-C ends.")
	return waitAndClose(ctx, s)
}

// lastSession is a morning some days ago, on the calendar of the invented programme.
func lastSession() time.Time {
	now := clock.System{}.Now()
	return time.Date(now.Year(), now.Month(), now.Day(), 9, 0, 0, 0, time.UTC).AddDate(0, 0, -3)
}

func (c *demoCmd) folder() (string, func(), error) {
	if c.Data != "" {
		return c.Data, func() {}, nil
	}
	dir, err := os.MkdirTemp("", "zonule-demo-")
	return dir, func() { _ = os.RemoveAll(dir) }, err
}

// fill plays the invented programme, unless the folder holds one already.
func (c *demoCmd) fill(ctx context.Context, sh *shell, s *site.Site, calendar *clock.Set, plan cast.Plan) error {
	defer calendar.Release()
	if s.Ledger.Head().Size > 0 {
		fmt.Fprintln(sh.out, "\nThe folder holds a programme already; nothing is played.")
		return nil
	}
	if err := s.PublishLibrary(ctx); err != nil {
		return err
	}
	company, err := cast.NewCompany(s.Clients, calendar)
	if err != nil {
		return err
	}
	if err := company.Enrol(ctx, cast.People(plan.Trainees)); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "\nPlaying %d trainees through %d sessions:", plan.Trainees, plan.Rounds)
	defer fmt.Fprintln(sh.out)
	return company.Play(ctx, plan, func(done, _ int) { fmt.Fprintf(sh.out, " %d", done) })
}
