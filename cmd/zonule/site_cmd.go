package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/ledger/checkpoint"
)

// siteCmd groups what a site shows other sites and strangers.
type siteCmd struct {
	Key        siteKeyCmd        `cmd:"" help:"Print the verifier key of the site: give it to whoever is to verify its ledger."`
	Checkpoint siteCheckpointCmd `cmd:"" help:"Print a signed checkpoint of the ledger of a running site, or of a copy it keeps."`
	Status     siteStatusCmd     `cmd:"" help:"Say how far the copies of other sites' ledgers are at a running site."`
}

type siteKeyCmd struct {
	Data string `help:"The site's data folder; the site may be running." required:"" placeholder:"DIR" type:"existingdir"`
}

// Run prints the public half of the site's key.
func (c *siteKeyCmd) Run(sh *shell) error {
	key, err := checkpoint.ReadKey(filepath.Join(c.Data, checkpoint.KeyFile))
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s holds no site's key; it is made at the first start of the site", c.Data)
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(sh.out, key.VerifierKey)
	return nil
}

type siteCheckpointCmd struct {
	remote
	Of   string `help:"The site whose ledger it is of; the running one's own when none is given." placeholder:"ID"`
	Size uint64 `help:"How many entries it is to cover; the newest when 0." placeholder:"N"`
}

// Run prints the signed note as it is, so that it can be kept in a file and verified.
func (c *siteCheckpointCmd) Run(ctx context.Context, sh *shell) error {
	clients, done, err := c.connect(ctx)
	if err != nil {
		return err
	}
	defer done()
	answer, err := clients.Ledger.GetCheckpoint(ctx, &ledgerv1.GetCheckpointRequest{Site: c.Of, Size: c.Size})
	if err != nil {
		return err
	}
	fmt.Fprint(sh.out, answer.GetNote())
	return nil
}

type siteStatusCmd struct {
	remote
}

// Run prints a line for each copy.
func (c *siteStatusCmd) Run(ctx context.Context, sh *shell) error {
	clients, done, err := c.connect(ctx)
	if err != nil {
		return err
	}
	defer done()
	head, err := clients.Ledger.GetHead(ctx, &ledgerv1.GetHeadRequest{})
	if err != nil {
		return err
	}
	copies, err := clients.Ledger.ListCopies(ctx, &ledgerv1.ListCopiesRequest{})
	if err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "site %s: %d entries\n", head.GetHead().GetSite(), head.GetHead().GetSize())
	for _, one := range copies.GetCopies() {
		state := one.GetState()
		if state == "" {
			state = "not followed now"
		}
		fmt.Fprintf(sh.out, "copy of %s: %d entries received, %d verified, %d in the views; %s\n", one.GetSite(), one.GetReceived(), one.GetVerified(), one.GetFolded(), state)
		if one.GetSentence() != "" {
			fmt.Fprintf(sh.out, "  %s\n", one.GetSentence())
		}
	}
	return nil
}
