package main

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/ledger"
)

// ledgerProofCmd groups making proofs and checking them.
type ledgerProofCmd struct {
	Entry ledgerProofEntryCmd `cmd:"" help:"Prove that the ledger holds an entry: a text with the entry and its audit path."`
	Grown ledgerProofGrownCmd `cmd:"" help:"Prove that the ledger is the continuation of a shorter one."`
	Check ledgerProofCheckCmd `cmd:"" help:"Check a proof without the ledger."`
}

type ledgerProofEntryCmd struct {
	stopped
	Sequence uint64 `arg:"" help:"The entry's sequence."`
	Size     uint64 `help:"The size of the tree to prove it in; the present one when left out."`
	Out      string `help:"The file to write; standard output when left out." placeholder:"FILE" type:"path"`
}

// Run writes the proof.
func (c *ledgerProofEntryCmd) Run(ctx context.Context, sh *shell) error {
	l, err := c.open(ctx, sh)
	if err != nil {
		return err
	}
	defer func() { _ = l.Close() }()
	p, err := l.ProveInclusion(c.Sequence, c.Size)
	if err != nil {
		return err
	}
	run, err := l.Stored(ctx, c.Sequence, 1)
	if err != nil {
		return err
	}
	return writeProof(sh, c.Out, p.Text(l.Site(), run[0].Bytes))
}

type ledgerProofGrownCmd struct {
	stopped
	OldSize uint64 `arg:"" help:"The size the ledger had."`
	Size    uint64 `help:"The size of the longer tree; the present one when left out."`
	Out     string `help:"The file to write; standard output when left out." placeholder:"FILE" type:"path"`
}

// Run writes the proof.
func (c *ledgerProofGrownCmd) Run(ctx context.Context, sh *shell) error {
	l, err := c.open(ctx, sh)
	if err != nil {
		return err
	}
	defer func() { _ = l.Close() }()
	p, err := l.ProveGrowth(c.OldSize, c.Size)
	if err != nil {
		return err
	}
	return writeProof(sh, c.Out, p.Text(l.Site()))
}

func writeProof(sh *shell, path, text string) error {
	if path == "" {
		_, err := io.WriteString(sh.out, text)
		return err
	}
	if err := writeNew(path, []byte(text)); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "proof written to %s; anyone can check it with: zonule ledger proof check\n", path)
	return nil
}

type ledgerProofCheckCmd struct {
	File string `arg:"" help:"The proof." type:"existingfile"`
	Head string `help:"A head known otherwise, SIZE:ROOT with the root in hexadecimal as ledger check prints it; the proof must be about it." placeholder:"SIZE:ROOT"`
	JSON bool   `help:"Print the entry as JSON."`
}

// Run checks the proof with nothing but the text.
func (c *ledgerProofCheckCmd) Run(sh *shell) error {
	text, err := os.ReadFile(c.File)
	if err != nil {
		return err
	}
	p, err := ledger.CheckProof(text)
	if err != nil {
		return err
	}
	if p.Sequence > 0 {
		e := &ledgerv1.Entry{}
		if err := proto.Unmarshal(p.Entry, e); err != nil {
			return err
		}
		fmt.Fprintf(sh.out, "the proof holds: entry %d of site %s, %s of %s by %s at %s,\n", p.Sequence, p.Site, e.GetKind(), e.GetSubjectId(), e.GetActor(), e.GetRecordedAt().AsTime().Format("2006-01-02 15:04:05 MST"))
		fmt.Fprintf(sh.out, "is in the tree of %d entries with root %x\n", p.Size, p.Root[:])
		if c.JSON {
			fmt.Fprintln(sh.out, protojson.Format(e))
		}
	} else {
		fmt.Fprintf(sh.out, "the proof holds: the tree of %d entries of site %s with root %x\n", p.OldSize, p.Site, p.OldRoot[:])
		fmt.Fprintf(sh.out, "is the beginning of the tree of %d entries with root %x\n", p.Size, p.Root[:])
	}
	return c.compare(sh, p)
}

// compare holds the proof's tree against a head known otherwise.
func (c *ledgerProofCheckCmd) compare(sh *shell, p ledger.Proved) error {
	if c.Head == "" {
		fmt.Fprintln(sh.out, "whether there is such a tree only a signed checkpoint says, or a head noted down earlier: give one with --head SIZE:ROOT")
		return nil
	}
	size, root, ok := strings.Cut(c.Head, ":")
	n, err := strconv.ParseUint(size, 10, 64)
	if b, hexErr := hex.DecodeString(root); !ok || err != nil || hexErr != nil || len(b) != len(p.Root) {
		return fmt.Errorf("%q is no head; write it as SIZE:ROOT, the root in 64 hexadecimal digits", c.Head)
	}
	if n != p.Size || !strings.EqualFold(root, hex.EncodeToString(p.Root[:])) {
		return fmt.Errorf("the proof is about another tree than the head given: %d:%x", p.Size, p.Root[:])
	}
	fmt.Fprintln(sh.out, "and that is the head given")
	return nil
}
