package replica

import (
	"context"
	"fmt"
	"time"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
	"zonule/services/ledger/checkpoint"
	"zonule/services/ledger/relay"
)

// verify looks for a checkpoint that covers what was received, has the ledger accept it, and folds. It says whether
// something waits to be verified. stuck says that nothing has come for a while.
func (r *Replica) verify(ctx context.Context, stuck bool) (waiting bool, err error) {
	at, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return false, err
	}
	if at.Received == at.Verified && r.held == nil && !stuck {
		return false, r.settle(ctx)
	}
	if r.held == nil {
		if r.held, _, err = r.newest(ctx); err != nil {
			return true, err
		}
	}
	if r.held == nil {
		return true, nil
	}
	size, err := r.covers(at)
	if err != nil {
		return true, err
	}
	if size > at.Received {
		if stuck { // the stream has lost its end; the owner has it
			if _, err := r.resend(ctx, at.Received+1, size); err != nil {
				return true, err
			}
			return true, nil
		}
		r.set(CatchingUp, "", nil)
		return true, nil
	}
	if err := r.accept(ctx); err != nil {
		return true, err
	}
	if at, err = r.Ledger.CopyOf(r.Site); err != nil {
		return true, err
	}
	return at.Received > at.Verified, r.settle(ctx)
}

// covers says how many entries the checkpoint at hand covers; it must be signed.
func (r *Replica) covers(at ledger.SiteCopy) (uint64, error) {
	owner, err := note.NewVerifier(at.VerifierKey)
	if err != nil {
		return 0, err
	}
	cp, err := checkpoint.Open(r.held, owner)
	if err != nil {
		r.held = nil
		return 0, fault.Wrap(err, codes.PermissionDenied, "NOT_SIGNED", fmt.Sprintf("A checkpoint that was said to be of site %s is not signed by the key known for it. Nothing is taken on its word.", r.Site))
	}
	return cp.Size, nil
}

// accept has the ledger accept the checkpoint at hand. When what was received does not fit it, the owner is asked for all
// of it: only when that does not fit either is it the owner's fault.
func (r *Replica) accept(ctx context.Context) error {
	signed := r.held
	r.held = nil
	cp, err := r.Ledger.Accept(ctx, r.Site, signed)
	if fault.Reason(err) != "COPY_DIFFERS" {
		return err
	}
	r.Logger.Warn("what came through the stream is not what the site signed; asking the site for it", "site", r.Site, "error", err)
	if err := r.Ledger.Discard(ctx, r.Site); err != nil {
		return err
	}
	at, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return err
	}
	if _, err := r.resend(ctx, at.Received+1, cp.Size); err != nil {
		return err
	}
	_, err = r.Ledger.Accept(ctx, r.Site, signed)
	if err != nil {
		if discarding := r.Ledger.Discard(ctx, r.Site); discarding != nil {
			return discarding
		}
	}
	if fault.Reason(err) == "COPY_DIFFERS" && at.Verified > 0 { // its own entries, behind those it signed for, do not fit
		return fault.Wrap(err, codes.DataLoss, "FORK", fmt.Sprintf(
			"Site %s signed a checkpoint of %d entries that does not continue the %d entries it signed for before: it has two histories. Nothing more is taken from it. Ask whoever runs it whether its ledger was replaced by an older copy.", r.Site, cp.Size, at.Verified),
			"site", r.Site)
	}
	return err
}

// settle folds what is verified, and cosigns.
func (r *Replica) settle(ctx context.Context) error {
	for more := true; more; {
		var err error
		if more, err = r.Ledger.FoldCopy(ctx, r.Site); err != nil {
			return err
		}
	}
	at, err := r.Ledger.CopyOf(r.Site)
	if err != nil {
		return err
	}
	if r.held == nil && at.Received == at.Folded && at.VerifierKey != "" {
		r.set(UpToDate, "", nil)
	} else {
		r.set(CatchingUp, "", nil)
	}
	if at.Verified > r.cosigned && time.Since(r.signedAt) >= r.CosignEvery {
		r.cosign(ctx)
	}
	return nil
}

// cosign signs the checkpoint accepted last and sends it to the owner. That it cannot be sent holds nothing up: the next
// one will be.
func (r *Replica) cosign(ctx context.Context) {
	signed, err := r.Ledger.Cosign(ctx, r.Site)
	if err == nil {
		err = r.ask.keep(ctx, r.Ledger.Site(), r.Ledger.VerifierKey(), signed)
	}
	r.signedAt = time.Now()
	if err != nil {
		r.Logger.Info("a cosignature was not delivered; the next one will be", "site", r.Site, "error", err)
		return
	}
	if at, err := r.Ledger.CopyOf(r.Site); err == nil {
		r.cosigned = at.Verified
	}
}

// newest gives the newest checkpoint there is, with the key sent with it: the owner's fresh one, else the one in NATS.
func (r *Replica) newest(ctx context.Context) (signed []byte, verifierKey string, err error) {
	signed, verifierKey, err = r.ask.checkpoint(ctx)
	if err == nil {
		return signed, verifierKey, nil
	}
	return relay.LastSigned(ctx, r.js, r.Ledger.Programme(), r.Site)
}
