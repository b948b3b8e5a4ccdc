package main

import (
	"context"
	"fmt"

	"zonule/cmd/zonule/site"
	"zonule/services/ledger"
)

// ledgerCmd groups what can be done with a ledger.
type ledgerCmd struct {
	Check ledgerCheckCmd `cmd:"" help:"Check every invariant of a ledger. Exit code 0: all is well; 1: something is not."`
}

type ledgerCheckCmd struct {
	Data string `help:"The site's data folder. The site must not be running on it." required:"" placeholder:"DIR" type:"existingdir"`
}

// Run opens the ledger as a site would and checks it.
func (c *ledgerCheckCmd) Run(ctx context.Context, sh *shell) error {
	l, err := site.OpenLedger(ctx, site.Config{Data: c.Data, Log: sh.log})
	if err != nil {
		return err
	}
	defer func() { _ = l.Close() }()
	ok, err := checkLedger(ctx, sh, l)
	if err == nil && !ok {
		return errSaid
	}
	return err
}

// checkLedger prints the verdicts and, last, one line that says how it ended.
func checkLedger(ctx context.Context, sh *shell, l *ledger.Ledger) (bool, error) {
	report, err := l.Check(ctx)
	if err != nil {
		return false, err
	}
	fmt.Fprint(sh.out, report)
	if !report.Clean() {
		fmt.Fprintf(sh.out, "ledger NOT ok: %d entries; what is BAD above says what to do\n", report.Head.Size)
		return false, nil
	}
	fmt.Fprintf(sh.out, "ledger ok: %d entries, head %x\n", report.Head.Size, report.Head.Root[:])
	return true, nil
}
