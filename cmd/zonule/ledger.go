package main

import (
	"context"
	"fmt"

	"zonule/cmd/zonule/site"
	"zonule/services/ledger"
)

// ledgerCmd groups what can be done with a ledger.
type ledgerCmd struct {
	Check   ledgerCheckCmd   `cmd:"" help:"Check every invariant of a ledger. Exit code 0: all is well; 1: something is not, and is named; 2: the ledger cannot be used."`
	Export  ledgerExportCmd  `cmd:"" help:"Write a ledger to one file."`
	Import  ledgerImportCmd  `cmd:"" help:"Make a data folder from an export, after verifying all of it."`
	Rebuild ledgerRebuildCmd `cmd:"" help:"Drop the views and fold them anew from the entries; compute damaged tree hashes again."`
	Proof   ledgerProofCmd   `cmd:"" help:"Prove that an entry is in the ledger, or that it only grew; check such a proof."`
	NewKey  ledgerNewKeyCmd  `cmd:"" help:"Make a key file that encrypts a new site's data at rest."`

	Restream ledgerRestreamCmd `cmd:"" help:"Let a copy of the ledger in NATS that is gone for good be begun anew."`
	Torture  ledgerTortureCmd  `cmd:"" help:"Run the fault suite against a fresh ledger: kills, lost and damaged files, a full disk, and more."`
	Tortured ledgerTorturedCmd `cmd:"" hidden:"" help:"One of the processes under torture."`
}

// stopped are the flags of commands that work on the data folder of a site that is not running.
type stopped struct {
	Data     string `help:"The site's data folder. The site must not be running on it." required:"" placeholder:"DIR" type:"existingdir"`
	StoreKey string `help:"The key file, when the data are encrypted at rest." placeholder:"FILE" type:"path"`
}

// open opens the ledger as a site would.
func (s stopped) open(ctx context.Context, sh *shell) (*ledger.Ledger, error) {
	key, err := storeKey(s.StoreKey)
	if err != nil {
		return nil, err
	}
	return site.OpenLedger(ctx, site.Config{Data: s.Data, Log: sh.log, StoreKey: key})
}

// storeKey reads a key file, if one was named.
func storeKey(path string) (ledger.StoreKey, error) {
	if path == "" {
		return nil, nil
	}
	return ledger.ReadStoreKey(path)
}

type ledgerCheckCmd struct {
	stopped
}

// Run opens the ledger as a site would and checks it.
func (c *ledgerCheckCmd) Run(ctx context.Context, sh *shell) error {
	l, err := c.open(ctx, sh)
	if err != nil {
		return &unusable{err}
	}
	defer func() { _ = l.Close() }()
	ok, err := checkLedger(ctx, sh, l)
	switch {
	case err != nil:
		return &unusable{err}
	case !ok:
		return errSaid
	}
	return nil
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

type ledgerRebuildCmd struct {
	stopped
	View []string `help:"The views to rebuild; all when none is named." placeholder:"NAME"`
}

// Run rebuilds and checks.
func (c *ledgerRebuildCmd) Run(ctx context.Context, sh *shell) error {
	l, err := c.open(ctx, sh)
	if err != nil {
		return &unusable{err}
	}
	defer func() { _ = l.Close() }()
	built, err := l.Rebuild(ctx, c.View...)
	if err != nil {
		return err
	}
	for _, name := range built {
		fmt.Fprintf(sh.out, "folded anew: %s\n", name)
	}
	if _, hashes, err := l.Scrub(ctx); err != nil {
		return err
	} else if hashes > 0 {
		fmt.Fprintf(sh.out, "tree hashes computed again: of %d entries\n", hashes)
	}
	ok, err := checkLedger(ctx, sh, l)
	if err == nil && !ok {
		return errSaid
	}
	return err
}

type ledgerNewKeyCmd struct {
	File string `arg:"" help:"Where to write it: not in the data folder, and never lost." type:"path"`
}

// Run makes the key file.
func (c *ledgerNewKeyCmd) Run(sh *shell) error {
	if _, err := ledger.NewStoreKey(c.File); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "wrote %s; give it to every command on the site with --store-key. Keep a copy apart from the data: who loses it loses the data.\n", c.File)
	return nil
}
