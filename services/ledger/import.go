package ledger

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// contents takes what a verified export holds, in order.
type contents struct {
	entry      func(sequence uint64, stored []byte, hashes []tlog.Hash) error
	personal   func(person string, record []byte) error
	erased     map[string]time.Time // filled in
	checkpoint string               // filled in
}

// VerifyExport reads an export to its end and tests all of it: every frame's checksum, that the entries are dense,
// decode and are of one site, that they give every head in it and the one it began with, and the digest at its end.
func VerifyExport(ctx context.Context, r io.Reader) (Summary, error) {
	return readExport(ctx, r, &contents{})
}

// readExport verifies an export while it passes on what is in it.
func readExport(ctx context.Context, r io.Reader, into *contents) (Summary, error) {
	f, err := newFrameReader(r)
	if err != nil {
		return Summary{}, err
	}
	x := &exportReader{frames: f, into: into, tree: frontier{peaks: map[int64]tlog.Hash{}}}
	for {
		at := f.bytes
		kind, body, err := f.next()
		switch {
		case errors.Is(err, io.EOF) && x.ended:
			x.summary.Bytes = f.bytes
			return x.summary, nil
		case errors.Is(err, io.EOF):
			return Summary{}, exportDamaged(at, "its end is missing")
		case err != nil:
			return Summary{}, err
		case ctx.Err() != nil:
			return Summary{}, outOfTime(ctx, "The time was over while reading the export.")
		case x.ended:
			return Summary{}, exportDamaged(at, "something follows its end")
		}
		if err := x.frame(kind, body); err != nil {
			if fault.From(err).Reason != "UNEXPECTED" {
				return Summary{}, err
			}
			return Summary{}, exportDamaged(at, err.Error())
		}
	}
}

// exportReader is one export being read.
type exportReader struct {
	frames  *frameReader
	into    *contents
	summary Summary
	tree    frontier
	last    byte                  // the kind of the frame before
	signed  checkpoint.Checkpoint // the newest one of the site; none when its size is 0
	text    string                // of it
	proved  bool                  // that the entries give it
	ended   bool
}

// order says which kinds may follow which: each kind comes after the ones before it here.
const order = string(frameHeader) + string(frameEntry) + string(framePersonal) + string(frameErased) + string(frameEnd)

func (x *exportReader) frame(kind byte, body []byte) error {
	place := kind
	if kind == frameHead {
		place = frameEntry
	}
	if strings.IndexByte(order, place) < 0 || x.last == 0 && kind != frameHeader || x.last != 0 && kind == frameHeader || x.last != 0 && strings.IndexByte(order, place) < strings.IndexByte(order, x.last) {
		return errors.New("a frame is of no known kind, or out of place")
	}
	x.last = place
	switch kind {
	case frameHeader:
		return x.header(body)
	case frameEntry:
		return x.entry(body)
	case frameHead:
		return x.head(body)
	case framePersonal:
		return x.personal(body)
	case frameErased:
		if err := json.Unmarshal(body, &x.into.erased); err != nil {
			return errors.New("the list of the erased cannot be read")
		}
		x.summary.Erased = len(x.into.erased)
		return nil
	}
	return x.end(body)
}

func (x *exportReader) header(body []byte) error {
	var h exportHeader
	if err := json.Unmarshal(body, &h); err != nil {
		return errors.New("its header cannot be read")
	}
	root, err := hex.DecodeString(h.Root)
	if err != nil || len(root) != tlog.HashSize || checkName("site", h.Site, 1) != nil || checkName("programme", h.Programme, 1) != nil {
		return errors.New("its header does not say whose it is and how long")
	}
	x.summary = Summary{Programme: h.Programme, Site: h.Site, Exported: h.Exported, Head: Head{Site: h.Site, Size: h.Size, Root: tlog.Hash(root)}}
	if h.Checkpoint == "" {
		return nil
	}
	owner, err := note.NewVerifier(h.VerifierKey)
	if err == nil && owner.Name() != checkpoint.Origin(h.Programme, h.Site) {
		err = errors.New("the key is another site's")
	}
	if err == nil {
		x.signed, err = checkpoint.Open([]byte(h.Checkpoint), owner)
	}
	if err != nil || x.signed.Size == 0 || x.signed.Size > h.Size {
		return fmt.Errorf("the checkpoint in it is not one that its site signed (%v)", err)
	}
	x.text, x.summary.VerifierKey, x.summary.Signed = h.Checkpoint, h.VerifierKey, x.signed.Size
	return nil
}

func (x *exportReader) entry(body []byte) error {
	sequence := x.tree.size + 1
	e, err := decodeEntry(sequence, body)
	if err != nil {
		return fmt.Errorf("entry %d is missing or does not decode", sequence)
	}
	if e.GetSite() != x.summary.Site || e.GetProgramme() != x.summary.Programme {
		return fmt.Errorf("entry %d is of site %q, programme %q", sequence, e.GetSite(), e.GetProgramme())
	}
	hashes, err := x.tree.grow(tlog.RecordHash(body))
	if err != nil {
		return err
	}
	if x.into.entry == nil {
		return nil
	}
	return x.into.entry(sequence, body, hashes)
}

func (x *exportReader) head(body []byte) error {
	h, err := decodeHead("", body)
	if err != nil {
		return errors.New("a head in it cannot be read")
	}
	root, err := x.tree.root()
	if err != nil || h.Size != x.tree.size || h.Root != root {
		return fmt.Errorf("the entries up to %d do not give the head that stands there for %d", x.tree.size, h.Size)
	}
	if x.tree.size == x.signed.Size {
		if root != x.signed.Root {
			return fmt.Errorf("the entries up to %d are not those its site signed a checkpoint of", x.tree.size)
		}
		x.proved = true
	}
	return nil
}

func (x *exportReader) personal(body []byte) error {
	length, n := binary.Uvarint(body)
	if n <= 0 || length == 0 || length > MaxNameBytes || uint64(len(body)-n) < length {
		return errors.New("a personal record cannot be read")
	}
	x.summary.Persons++
	if x.into.personal == nil {
		return nil
	}
	return x.into.personal(string(body[n:n+int(length)]), body[n+int(length):])
}

func (x *exportReader) end(body []byte) error {
	var end exportEnd
	if err := json.Unmarshal(body, &end); err != nil {
		return errors.New("its end cannot be read")
	}
	x.summary.Digest = x.frames.before
	root, err := x.tree.root()
	switch {
	case end.Digest != hex.EncodeToString(x.frames.before[:]):
		return errors.New("its content does not have the digest that stands at its end")
	case end.Entries != x.tree.size || end.Persons != x.summary.Persons:
		return errors.New("it does not hold as much as its end says")
	case err != nil || x.tree.size != x.summary.Head.Size || root != x.summary.Head.Root:
		return errors.New("its entries do not give the head it begins with")
	case x.signed.Size > 0 && !x.proved:
		return errors.New("the head that its site signed is left out")
	}
	x.into.checkpoint = x.text
	x.ended = true
	return nil
}

// importingSuffix marks the folder an import works in until it is accepted.
const importingSuffix = ".importing"

// Import makes a site's data folder from an export. It reads the file twice: first it verifies all of it, then it writes
// the ledger into a folder beside the one wanted, opens it with the views of the Config, checks it, and only then gives
// it its name. The folder must be empty or not be there. Programme and Site of the Config may be left out; if given they
// must be the export's. keys is what ExportKeys gave, or nil: then personal data cannot be read, and the site
// signs with a new key, by which others must come to know it. finish, if any, is called with the folder before it gets its name.
func Import(ctx context.Context, path string, keys []byte, c Config, finish func(dir string) error) (Summary, error) {
	if err := refuseFull(c.Dir); err != nil {
		return Summary{}, err
	}
	file, err := os.Open(path)
	if err != nil {
		return Summary{}, fault.Wrap(err, codes.NotFound, "NO_EXPORT", "The export cannot be opened. Look at its name.")
	}
	defer file.Close()
	s, err := VerifyExport(ctx, file)
	if err != nil {
		return Summary{}, err
	}
	if c.Site != "" && c.Site != s.Site || c.Programme != "" && c.Programme != s.Programme {
		return Summary{}, fault.New(codes.FailedPrecondition, "OTHER_SITE", fmt.Sprintf("The export is of site %q of programme %q, not of site %q of %q.", s.Site, s.Programme, c.Site, c.Programme))
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return Summary{}, err
	}
	if free, _, err := freeSpace(filepath.Dir(c.Dir)); err == nil && free < max(c.Reserve, DefaultReserve/4)+3*uint64(s.Bytes) {
		return Summary{}, fault.New(codes.ResourceExhausted, "DISK_FULL", fmt.Sprintf("An import of this export may take %d MB, and %d MB are free. Nothing was imported.", 3*s.Bytes>>20+DefaultReserve>>22, free>>20))
	}
	final := c.Dir
	c.Site, c.Programme, c.Dir = s.Site, s.Programme, strings.TrimRight(final, string(filepath.Separator))+importingSuffix
	if err := os.RemoveAll(c.Dir); err != nil { // of an import that was stopped
		return Summary{}, err
	}
	if err := fillFolder(ctx, file, s, keys, c); err != nil {
		return Summary{}, errors.Join(err, os.RemoveAll(c.Dir))
	}
	if finish != nil {
		if err := finish(c.Dir); err != nil {
			return Summary{}, errors.Join(err, os.RemoveAll(c.Dir))
		}
	}
	if err := os.Rename(c.Dir, final); err != nil {
		return Summary{}, fmt.Errorf("the imported ledger could not be given its name; it lies in %s: %w", c.Dir, err)
	}
	return s, syncFolder(filepath.Dir(final))
}

// refuseFull refuses a folder that holds something.
func refuseFull(dir string) error {
	held, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return os.MkdirAll(filepath.Dir(dir), 0o700)
	}
	if err == nil && len(held) > 0 {
		err = fault.New(codes.FailedPrecondition, "FOLDER_NOT_EMPTY", fmt.Sprintf("The folder %s holds something already. An import never writes over anything; choose another folder.", dir))
	}
	return err
}

// fillFolder writes an export into a new folder, opens the ledger in it, and checks it.
func fillFolder(ctx context.Context, file io.Reader, verified Summary, keys []byte, c Config) error {
	if err := c.check(); err != nil {
		return err
	}
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return err
	}
	bundle, siteKey, err := openBundle(keys, verified)
	if err != nil {
		return err
	}
	erased, err := fillStore(ctx, file, verified, c, siteKey)
	if err != nil {
		return err
	}
	if err := importKeys(c.Dir, c.Site, bundle, siteKey, erased); err != nil {
		return err
	}
	l, err := Open(ctx, c)
	if err != nil {
		return err
	}
	report, err := l.Check(ctx)
	if err = errors.Join(err, l.Close()); err != nil {
		return err
	}
	for _, v := range report.Verdicts {
		if !v.Holds && (keys != nil || v.What != verdictPersonal) {
			return fault.New(codes.DataLoss, "IMPORT_NOT_CLEAN", "The ledger that the export gives does not pass the check: "+v.What+": "+v.Sentence+" It was not accepted.")
		}
	}
	return nil
}

// fillStore writes entries, tree and personal records into a new store.
func fillStore(ctx context.Context, file io.Reader, verified Summary, c Config, siteKey string) (map[string]time.Time, error) {
	db, err := openStore(c)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	w := db.NewWriteBatch()
	defer w.Cancel()
	put := func(space, key string, value []byte) error {
		full, stored := []byte(space+key), storedRow(value)
		closeRow(full, stored)
		return w.Set(full, stored)
	}
	into := &contents{
		entry: func(sequence uint64, stored []byte, hashes []tlog.Hash) error {
			return errors.Join(put(spaceEntry, sequenceKey(sequence), stored), put(spaceHash, sequenceKey(sequence), joinGroup(hashes)))
		},
		personal: func(person string, record []byte) error { return put(spaceSealed, person, record) },
	}
	s, err := readExport(ctx, file, into)
	if err != nil {
		return nil, err
	}
	if s.Digest != verified.Digest {
		return nil, exportDamaged(s.Bytes, "it changed while it was being read")
	}
	if siteKey != "" && into.checkpoint != "" { // the site goes on signing with its key, and remembers what it signed
		err = errors.Join(put(spacePin, s.Site, []byte(s.VerifierKey)), put(spaceCheckpoint, newestKey(s.Site), []byte(into.checkpoint)))
	}
	err = errors.Join(err, put(spaceMeta, keyHead, encodeHead(s.Head)), put(spaceMeta, keyIdentity, encodeIdentity(identity{format, s.Programme, s.Site})), w.Flush())
	return into.erased, errors.Join(storeFailure(err), db.Sync())
}

// storeFailure words a failure of a store being filled.
func storeFailure(err error) error {
	if err == nil || errors.Is(err, badger.ErrDBClosed) {
		return err
	}
	return fault.Wrap(err, codes.Unavailable, "STORE_FAILED", "The imported ledger could not be written. Nothing was accepted. See that there is room on the disk and try again.")
}
