package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"zonule/cmd/zonule/site"
	"zonule/services/ledger"
)

type ledgerExportCmd struct {
	stopped
	File string `arg:"" help:"The file to write; must not be there yet." type:"path"`
	Keys string `help:"Write the keys to the personal data, and the one the site signs with, into this file of their own. Keep it apart from exports, and make it anew whenever a person has been erased." placeholder:"FILE" type:"path"`
}

// Run writes the export, reads it back, and then the keys if they were asked for.
func (c *ledgerExportCmd) Run(ctx context.Context, sh *shell) (err error) {
	l, err := c.open(ctx, sh)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	s, err := l.ExportFile(ctx, c.File)
	if err != nil {
		return err
	}
	printSummary(sh.out, s)
	if c.Keys == "" {
		fmt.Fprintln(sh.out, "no keys are in it, neither to the personal data nor the one the site signs with; ask for them with --keys FILE")
		return nil
	}
	keys, err := l.ExportKeys()
	if err != nil {
		return err
	}
	if err := writeNew(c.Keys, keys); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "keys written to %s\n", c.Keys)
	return nil
}

// writeNew writes a secret file that must not be there yet.
func writeNew(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	return errors.Join(err, f.Sync(), f.Close())
}

func printSummary(out io.Writer, s ledger.Summary) {
	fmt.Fprintf(out, "export of site %s, programme %s: %d entries, head %x\n", s.Site, s.Programme, s.Head.Size, s.Head.Root[:])
	fmt.Fprintf(out, "  made %s; %d bytes, sha-256 up to its end %x\n", s.Exported.Format("2006-01-02 15:04:05 MST"), s.Bytes, s.Digest)
	if s.Signed > 0 {
		fmt.Fprintf(out, "  its first %d entries are those of a checkpoint signed by %s\n", s.Signed, s.VerifierKey)
	}
	fmt.Fprintf(out, "  personal data of %d persons, encrypted; %d erased\n", s.Persons, s.Erased)
}

type ledgerImportCmd struct {
	File     string `arg:"" help:"The export." type:"existingfile"`
	Data     string `help:"The data folder to make; must be empty or not be there." placeholder:"DIR" type:"path"`
	Keys     string `help:"The keys to the personal data, as an export writes them." placeholder:"FILE" type:"existingfile"`
	StoreKey string `help:"Encrypt the new folder under this key file." placeholder:"FILE" type:"path"`
	DryRun   bool   `help:"Verify the export, say what is in it, and write nothing."`
}

// Run verifies the export and, unless that is all that was wanted, makes the folder.
func (c *ledgerImportCmd) Run(ctx context.Context, sh *shell) error {
	if c.DryRun {
		return c.verify(ctx, sh)
	}
	if c.Data == "" {
		return fmt.Errorf("name the folder to make with --data DIR, or only verify with --dry-run")
	}
	key, err := storeKey(c.StoreKey)
	if err != nil {
		return err
	}
	var keys []byte
	if c.Keys != "" {
		if keys, err = os.ReadFile(c.Keys); err != nil {
			return err
		}
	}
	folds, err := site.Views()
	if err != nil {
		return err
	}
	first, err := verified(ctx, c.File)
	if err != nil {
		return err
	}
	config := ledger.Config{Dir: c.Data, Views: folds, Logger: sh.log, StoreKey: key}
	s, err := ledger.Import(ctx, c.File, keys, config, func(dir string) error { return site.Label(dir, first.Programme, first.Site) })
	if err != nil {
		return err
	}
	printSummary(sh.out, s)
	if keys == nil {
		fmt.Fprintln(sh.out, "no keys were given: the personal data cannot be read until the site's person-keys.json is put into the folder,")
		fmt.Fprintln(sh.out, "and the site will sign with a new key, which those who follow it must be given")
	}
	fmt.Fprintf(sh.out, "verified, checked, and ready in %s\n", c.Data)
	return nil
}

func (c *ledgerImportCmd) verify(ctx context.Context, sh *shell) error {
	s, err := verified(ctx, c.File)
	if err != nil {
		return err
	}
	printSummary(sh.out, s)
	fmt.Fprintln(sh.out, "the export is whole")
	return nil
}

func verified(ctx context.Context, path string) (ledger.Summary, error) {
	f, err := os.Open(path)
	if err != nil {
		return ledger.Summary{}, err
	}
	defer func() { _ = f.Close() }() // it was only read
	return ledger.VerifyExport(ctx, f)
}
