package ledger

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"io"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// Summary says what an export holds.
type Summary struct {
	Programme, Site string
	Exported        time.Time // when it was made, by the site's clock
	Head            Head
	Persons         int // whose personal data are in it, encrypted
	Erased          int // persons whose keys were destroyed before
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
	if err := f.json(frameHeader, header); err != nil {
		return Summary{}, err
	}
	if err := l.exportEntries(ctx, f, snap.head); err != nil {
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
func (l *Ledger) exportEntries(ctx context.Context, f *frameWriter, head Head) error {
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
			if one.Sequence%headEvery != 0 && one.Sequence != head.Size {
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

// ExportKeys gives the content of the key file: with it, and only with it, the personal data of an export can be read.
// Keep it apart from exports, and replace older copies of it when a person has been erased.
func (l *Ledger) ExportKeys() ([]byte, error) {
	l.keys.mu.Lock()
	defer l.keys.mu.Unlock()
	return json.Marshal(l.keys.file)
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
