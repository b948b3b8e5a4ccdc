package ledger

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// Summary says what an export holds.
type Summary struct {
	Programme, Site string
	Exported        time.Time // when it was made, by the site's clock
	Head            Head
	Persons         int    // whose personal data are in it, encrypted
	Erased          int    // persons whose keys were destroyed before
	VerifierKey     string // of the site's signing key
	Signed          uint64 // the size of the newest checkpoint the site had signed, which the export was verified against; 0 when there is none
	Bytes           int64
	Digest          [32]byte // SHA-256 of the file up to its last frame
}

// exportHeader opens an export.
type exportHeader struct {
	Programme string    `json:"programme"`
	Site      string    `json:"site"`
	Exported  time.Time `json:"exported_at"`
	Size      uint64    `json:"size"`
	Root      string    `json:"root_hash"` // hexadecimal
	// VerifierKey is the site's, and Checkpoint the newest it signed, both in the form of signed notes; empty when it has
	// signed none yet.
	VerifierKey string `json:"verifier_key,omitempty"`
	Checkpoint  string `json:"checkpoint,omitempty"`
}

// exportEnd closes one.
type exportEnd struct {
	Entries uint64 `json:"entries"`
	Persons int    `json:"persons"`
	Digest  string `json:"sha256"` // of everything before this frame, hexadecimal
}

// headEvery is after how many entries an export repeats the head, so that damage is found near where it is.
const headEvery = 1 << 14

// Export writes the ledger as it stands when it begins: the stored bytes of every entry, heads along the way, and what
// is kept about people as it is kept, encrypted. The keys are not in it (see ExportKeys), so a copy of an export tells
// nothing about anyone whose key is destroyed. Recording goes on meanwhile.
func (l *Ledger) Export(ctx context.Context, w io.Writer) (Summary, error) {
	snap, err := l.acquire()
	if err != nil {
		return Summary{}, err
	}
	defer snap.release()
	s := Summary{Programme: l.programme, Site: l.site, Exported: l.clock.Now().UTC(), Head: snap.head}
	f, err := newFrameWriter(w)
	if err != nil {
		return Summary{}, notWritten(err)
	}
	header := exportHeader{Programme: s.Programme, Site: s.Site, Exported: s.Exported, Size: s.Head.Size, Root: hex.EncodeToString(s.Head.Root[:])}
	cp, signed, ok, err := snap.checkpoint(newestKey(l.site))
	if err == nil && ok {
		header.VerifierKey, header.Checkpoint = l.key.VerifierKey, string(signed)
		s.VerifierKey, s.Signed = l.key.VerifierKey, cp.Size
	}
	if err := f.json(frameHeader, header); err != nil {
		return Summary{}, err
	}
	if err := l.exportEntries(ctx, f, snap.head, s.Signed); err != nil {
		return Summary{}, err
	}
	if err := l.exportPersonal(f, snap, &s); err != nil {
		return Summary{}, err
	}
	s.Digest = f.digest()
	if err := f.json(frameEnd, exportEnd{Entries: s.Head.Size, Persons: s.Persons, Digest: hex.EncodeToString(s.Digest[:])}); err != nil {
		return Summary{}, err
	}
	if err := f.to.Flush(); err != nil {
		return Summary{}, notWritten(err)
	}
	s.Bytes = f.bytes
	return s, nil
}

// exportEntries writes the entries and makes sure that they give the head's root.
func (l *Ledger) exportEntries(ctx context.Context, f *frameWriter, head Head, signed uint64) error {
	tree := frontier{peaks: map[int64]tlog.Hash{}}
	for tree.size < head.Size {
		run, err := l.Stored(ctx, tree.size+1, int(min(head.Size-tree.size, 1024)))
		if err != nil {
			return err
		}
		for _, one := range run {
			if err := f.frame(frameEntry, one.Bytes); err != nil {
				return notWritten(err)
			}
			if _, err := tree.grow(one.Leaf); err != nil {
				return err
			}
			if one.Sequence%headEvery != 0 && one.Sequence != head.Size && one.Sequence != signed {
				continue
			}
			root, err := tree.root()
			if err != nil {
				return err
			}
			if err := f.frame(frameHead, encodeHead(Head{Size: tree.size, Root: root})); err != nil {
				return notWritten(err)
			}
		}
	}
	if root, err := tree.root(); err != nil || root != head.Root {
		return fault.Wrap(err, codes.DataLoss, "TREE_DISAGREES", "The ledger's entries do not give the root hash its head speaks of, so it cannot be exported. Run the ledger check.")
	}
	return nil
}

// exportPersonal writes what is kept about people, but nothing of those who were erased, and who they were.
func (l *Ledger) exportPersonal(f *frameWriter, snap *snapshot, s *Summary) error {
	erased := l.keys.erased()
	err := snap.scan(spaceSealed, "", "", 0, func(person string, r row) (bool, error) {
		if _, gone := erased[person]; gone {
			return true, nil
		}
		s.Persons++
		body := binary.AppendUvarint(nil, uint64(len(person)))
		body = append(append(body, person...), r.value...)
		if err := f.frame(framePersonal, body); err != nil {
			return false, notWritten(err)
		}
		return true, nil
	})
	if err != nil {
		return outward(err)
	}
	s.Erased = len(erased)
	return f.json(frameErased, erased)
}

// keyBundle is what belongs to an export and must be kept apart from it.
type keyBundle struct {
	Format  string  `json:"format"`
	Persons keyFile `json:"person_keys"`
	SiteKey string  `json:"site_key"` // the key the site signs with
}

const keyBundleFormat = "zonule ledger keys 1"

// ExportKeys gives the keys: the ones to the personal data, with which, and only with which, the personal data of an
// export can be read, and the one the site signs with, by which others know it. Keep them apart from exports, and replace
// older copies of them when a person has been erased.
func (l *Ledger) ExportKeys() ([]byte, error) {
	site, err := os.ReadFile(filepath.Join(l.dir, checkpoint.KeyFile))
	if err != nil {
		return nil, fault.Wrap(err, codes.Unavailable, "SITE_KEY_MISSING", "The file of the key this site signs with cannot be read.")
	}
	l.keys.mu.Lock()
	defer l.keys.mu.Unlock()
	return json.Marshal(keyBundle{Format: keyBundleFormat, Persons: l.keys.file, SiteKey: strings.TrimSpace(string(site))})
}

func (f *frameWriter) json(kind byte, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if err := f.frame(kind, b); err != nil {
		return notWritten(err)
	}
	return nil
}

func notWritten(cause error) error {
	if fault.From(cause).Reason != "UNEXPECTED" {
		return cause
	}
	return fault.Wrap(cause, codes.Unavailable, "EXPORT_NOT_WRITTEN", "The export could not be written. What there is of it is of no use; see that there is room for it and try again.")
}
