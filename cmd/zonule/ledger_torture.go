package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"

	"zonule/services/ledger/relay"
	"zonule/services/ledger/torture"
)

// ledgerTortureCmd runs the fault suite.
type ledgerTortureCmd struct {
	Rounds  int    `help:"How many rounds, each with one fault." default:"20"`
	Seed    uint64 `help:"Seed of the chances; timing is the machine's." default:"1"`
	Clients int    `help:"How many clients record and read at once." default:"5"`
	Flips   int    `help:"How many bytes are flipped, one after the other, in a round of that fault." default:"3"`
	Work    string `help:"An empty folder to work in; a temporary one when left out." placeholder:"DIR" type:"path"`
}

// Run tortures a fresh ledger in processes of this program.
func (c *ledgerTortureCmd) Run(ctx context.Context, sh *shell) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	if c.Rounds < 1 {
		return fmt.Errorf("there must be at least one round")
	}
	r, err := torture.Run(ctx, torture.Options{
		Rounds: c.Rounds, Seed: c.Seed, Clients: c.Clients, Flips: c.Flips, Work: c.Work, Out: sh.out,
		Starter: func(role string, words ...string) *exec.Cmd {
			return exec.Command(self, append([]string{"ledger", "tortured", role}, words...)...)
		},
	})
	if err == nil && (r.Lost > 0 || len(r.Wrong) > 0) {
		return errSaid
	}
	return err
}

// ledgerTorturedCmd is one of the processes under torture.
type ledgerTorturedCmd struct {
	Role  string   `arg:"" help:"Which."`
	Words []string `arg:"" help:"What it is told."`
}

// Run lives until it is killed.
func (c *ledgerTorturedCmd) Run(ctx context.Context, sh *shell) error {
	return torture.Be(ctx, c.Role, c.Words, sh.out)
}

// ledgerRestreamCmd lets a new copy in NATS be begun.
type ledgerRestreamCmd struct {
	stopped
	Yes bool `help:"Do it: the old stream is gone for good, and NATS does read its files with the right key."`
}

// Run forgets how far the old stream was, so that the site makes a new one when it starts.
func (c *ledgerRestreamCmd) Run(ctx context.Context, sh *shell) (err error) {
	l, err := c.open(ctx, sh)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	name := relay.StreamName(l.Programme(), l.Site())
	at, known, err := l.Cursor(name)
	if err != nil {
		return err
	}
	switch {
	case !known:
		fmt.Fprintf(sh.out, "the ledger was never carried to a stream %s; there is nothing to forget.\n", name)
		return nil
	case !c.Yes:
		fmt.Fprintf(sh.out, "would forget that entries up to %d were carried to the stream %s, so that a site that does not find it makes it anew. Say --yes to do it.\n", at, name)
		return nil
	}
	if err := l.ForgetCursor(ctx, name); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "forgotten; the next start makes the stream %s anew if it is not there, and carries all entries to it.\n", name)
	return nil
}
