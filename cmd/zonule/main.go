// Command zonule runs a site of Zonule, or speaks to one: drills for cataract-surgery complications, judged
// by a written standard, followed by honest curves, kept in a ledger that can be checked.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"zonule/cmd/zonule/terminal"
	"zonule/scenarios/script/text"
	"zonule/services/fault"
)

// cli is the command line.
type cli struct {
	Demo     demoCmd     `cmd:"" help:"Run an invented programme: pages, gRPC and NATS in one process, on a temporary folder unless --data is given."`
	Serve    serveCmd    `cmd:"" help:"Run a site: ledger, NATS, gRPC and pages in one process."`
	Drill    drillCmd    `cmd:"" help:"Play a drill in the terminal."`
	Person   personCmd   `cmd:"" help:"The people of a site."`
	Scenario scenarioCmd `cmd:"" help:"Scenarios and their rubrics."`
	Ledger   ledgerCmd   `cmd:"" help:"The append-only ledger of a site."`
	Site     siteCmd     `cmd:"" help:"What a site shows other sites: its key, its checkpoints, whom it follows."`
	Eye      eyeCmd      `cmd:"" help:"The model eye by itself: checks, plans, a list of actions, pictures."`
	Stats    statsCmd    `cmd:"" help:"Run a statistic on your own data; see zonule stats --help for the methods and their columns."`

	Verbose bool `help:"Log what happens inside, to standard error."`
}

// shell is what every command may use of the world.
type shell struct {
	in       *os.File
	out, err io.Writer
	log      *slog.Logger
}

const about = "Zonule brings cataract trainees to the right decision in the first seconds of a complication. " +
	"For training only, not for use on or about a patient; local protocols, device instructions and licensed supervision decide."

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run does one command line and gives the exit code: 0 done, 1 refused or failed, 2 the line was not understood, or what
// it was to work on cannot be used.
func run(ctx context.Context, args []string, in *os.File, out, errs io.Writer) int {
	var c cli
	code := -1
	parser, err := kong.New(&c, kong.Name("zonule"), kong.Description(about), kong.Writers(out, errs),
		kong.UsageOnError(), kong.Exit(func(n int) { code = n }), kong.BindTo(ctx, (*context.Context)(nil)))
	if err != nil {
		fmt.Fprintln(errs, err)
		return 2
	}
	line, err := parser.Parse(args)
	if code >= 0 { // help was asked for and given
		return code
	}
	if err != nil {
		fmt.Fprintf(errs, "zonule: %v\n", err)
		return 2
	}
	level := slog.LevelWarn
	if c.Verbose {
		level = slog.LevelDebug
	}
	sh := &shell{in: in, out: out, err: errs, log: slog.New(slog.NewTextHandler(errs, &slog.HandlerOptions{Level: level}))}
	return report(errs, line.Run(sh))
}

// report says what went wrong in words a person can act on.
func report(errs io.Writer, err error) int {
	var ps text.Problems
	var no *unusable
	switch {
	case err == nil, errors.Is(err, terminal.ErrLeft), errors.Is(err, context.Canceled):
		return 0
	case errors.Is(err, errSaid):
		return 1
	case errors.As(err, &no):
		report(errs, no.cause)
		return 2
	case errors.As(err, &ps):
		fmt.Fprintln(errs, ps.Error())
		return 1
	}
	if f := fault.From(err); f.Reason != "UNEXPECTED" {
		fmt.Fprintf(errs, "zonule: %s\n", f.Error())
		return 1
	}
	fmt.Fprintf(errs, "zonule: %v\n", err)
	return 1
}

// unusable ends a command with exit code 2: what it was to look at could not be used at all.
type unusable struct{ cause error }

func (u *unusable) Error() string { return u.cause.Error() }
func (u *unusable) Unwrap() error { return u.cause }

// errSaid ends a command with exit code 1 when it has said why already.
var errSaid = errors.New("said already")
