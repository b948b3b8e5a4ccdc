package ledger

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// A proof on paper is text: a first line that says what it is, then lines of a word and a value, hashes and bytes in
// base64, in this order. It can be checked without the ledger (CheckProof), and by any RFC 6962 program.
const (
	inclusionTitle = "zonule inclusion proof 1"
	growthTitle    = "zonule consistency proof 1"
)

// Text writes the proof with the entry it is about. It shows that the entry is in the tree of that size and root; whether there
// is such a tree only a signed checkpoint says, or a head noted down earlier: compare size and root, both.
func (p Inclusion) Text(site string, stored []byte) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nsite %s\nsequence %d\nsize %d\nroot %s\nentry %s\n", inclusionTitle, strconv.Quote(site), p.Sequence, p.Size, p.Root, base64.StdEncoding.EncodeToString(stored))
	writeHashes(&b, p.Hashes)
	return b.String()
}

// Text writes the proof.
func (p Growth) Text(site string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nsite %s\nold-size %d\nold-root %s\nsize %d\nroot %s\n", growthTitle, strconv.Quote(site), p.OldSize, p.OldRoot, p.Size, p.Root)
	writeHashes(&b, p.Hashes)
	return b.String()
}

func writeHashes(b *strings.Builder, hashes []tlog.Hash) {
	for _, h := range hashes {
		fmt.Fprintf(b, "hash %s\n", h)
	}
}

// Proved is what a proof on paper shows.
type Proved struct {
	Site     string
	Sequence uint64 // of the entry shown to be in the tree; 0 in a consistency proof
	Entry    []byte // its stored bytes
	OldSize  uint64 // of the tree shown to be the beginning of the other; 0 in an inclusion proof
	OldRoot  tlog.Hash
	Size     uint64
	Root     tlog.Hash
}

// CheckProof checks a proof on paper, with nothing but the text. An error says why it does not hold.
func CheckProof(text []byte) (Proved, error) {
	lines := strings.Split(strings.TrimRight(string(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))), "\n"), "\n")
	p := &paper{lines: lines[1:]}
	var proved Proved
	var err error
	switch lines[0] {
	case inclusionTitle:
		proved = Proved{Site: p.quoted("site"), Sequence: p.number("sequence"), Size: p.number("size"), Root: p.hash("root"), Entry: p.bytes("entry")}
		hashes := p.hashes()
		if p.failed == nil {
			err = proved.included(hashes)
		}
	case growthTitle:
		proved = Proved{Site: p.quoted("site"), OldSize: p.number("old-size"), OldRoot: p.hash("old-root"), Size: p.number("size"), Root: p.hash("root")}
		hashes := p.hashes()
		if p.failed == nil {
			err = tlog.CheckTree(hashes, int64(proved.Size), proved.Root, int64(proved.OldSize), proved.OldRoot)
		}
	default:
		return Proved{}, fault.New(codes.InvalidArgument, "NOT_A_PROOF", "The file is not a proof: one begins with the line "+inclusionTitle+" or "+growthTitle+".")
	}
	if p.failed != nil {
		return Proved{}, fault.Wrap(p.failed, codes.InvalidArgument, "NOT_A_PROOF", "The proof cannot be read.")
	}
	if err != nil {
		return Proved{}, fault.Wrap(err, codes.DataLoss, "PROOF_FAILS", "The proof does not hold: what it shows is not part of the tree it names.")
	}
	return proved, nil
}

func (p Proved) included(hashes []tlog.Hash) error {
	e, err := decodeEntry(p.Sequence, p.Entry)
	if err != nil {
		return err
	}
	if e.GetSite() != p.Site {
		return fmt.Errorf("the entry is of site %q", e.GetSite())
	}
	if p.Sequence < 1 || p.Sequence > p.Size || p.Size > 1<<62 {
		return fmt.Errorf("a tree of %d has no entry %d", p.Size, p.Sequence)
	}
	return tlog.CheckRecord(hashes, int64(p.Size), p.Root, int64(p.Sequence)-1, tlog.RecordHash(p.Entry))
}

// paper reads the lines of a proof.
type paper struct {
	lines  []string
	failed error
}

// value takes the next line, which must be of that word.
func (p *paper) value(word string) string {
	if p.failed != nil {
		return ""
	}
	if len(p.lines) == 0 {
		p.failed = fmt.Errorf("the line %q is missing", word)
		return ""
	}
	v, ok := strings.CutPrefix(p.lines[0], word+" ")
	if !ok {
		p.failed = fmt.Errorf("where the line %q should stand there is %.40q", word, p.lines[0])
	}
	p.lines = p.lines[1:]
	return v
}

func (p *paper) note(err error) {
	if p.failed == nil {
		p.failed = err
	}
}

func (p *paper) quoted(word string) string {
	s, err := strconv.Unquote(p.value(word))
	p.note(err)
	return s
}

func (p *paper) number(word string) uint64 {
	n, err := strconv.ParseUint(p.value(word), 10, 62)
	p.note(err)
	return n
}

func (p *paper) bytes(word string) []byte {
	b, err := base64.StdEncoding.Strict().DecodeString(p.value(word))
	p.note(err)
	return b
}

func (p *paper) hash(word string) tlog.Hash {
	b := p.bytes(word)
	if len(b) != tlog.HashSize {
		p.note(fmt.Errorf("%s is not a hash", word))
		return tlog.Hash{}
	}
	return tlog.Hash(b)
}

func (p *paper) hashes() (hashes []tlog.Hash) {
	for p.failed == nil && len(p.lines) > 0 {
		hashes = append(hashes, p.hash("hash"))
	}
	return hashes
}
