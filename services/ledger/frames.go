package ledger

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"

	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// An export is a line that names the format, and then frames. EXPORT.md describes it for those who want to read one
// without this program.
const exportMagic = "zonule ledger export 1\n"

// The kinds of frames, in the order they come.
const (
	frameHeader   = 'H' // JSON: exportHeader
	frameEntry    = 'E' // an entry's stored bytes; the first is entry 1
	frameHead     = 'R' // the head after the entries so far: size (8 bytes, big-endian), root hash (32)
	framePersonal = 'P' // uvarint length of the person's id, the id, the stored record
	frameErased   = 'X' // JSON: who was erased, and when
	frameEnd      = 'Z' // JSON: exportEnd
)

// maxFrameBytes bounds a frame's body: an entry, or a personal record, with room to spare.
const maxFrameBytes = 4 << 20

const frameFixedBytes = 1 + 4

// frameWriter writes frames and keeps the digest of all that was written.
type frameWriter struct {
	to    *bufio.Writer
	all   hash.Hash
	bytes int64
}

func newFrameWriter(w io.Writer) (*frameWriter, error) {
	f := &frameWriter{to: bufio.NewWriterSize(w, 1<<20), all: sha256.New()}
	return f, f.write([]byte(exportMagic))
}

func (f *frameWriter) write(b []byte) error {
	f.all.Write(b)
	f.bytes += int64(len(b))
	_, err := f.to.Write(b)
	return err
}

// frame writes one frame: its kind, its body's length (4 bytes, big-endian), the body, and the CRC-32C of all that.
func (f *frameWriter) frame(kind byte, body []byte) error {
	if len(body) > maxFrameBytes {
		return fmt.Errorf("a frame of %d bytes is larger than the format allows", len(body))
	}
	front := binary.BigEndian.AppendUint32([]byte{kind}, uint32(len(body)))
	sum := crc32.Update(crc32.Update(0, castagnoli, front), castagnoli, body)
	for _, part := range [][]byte{front, body, binary.BigEndian.AppendUint32(nil, sum)} {
		if err := f.write(part); err != nil {
			return err
		}
	}
	return nil
}

// digest is the SHA-256 of everything written so far.
func (f *frameWriter) digest() (sum [32]byte) { return [32]byte(f.all.Sum(nil)) }

// frameReader reads frames and verifies each.
type frameReader struct {
	from   *bufio.Reader
	all    hash.Hash
	before [32]byte // the digest of everything before the frame read last
	bytes  int64
}

func newFrameReader(r io.Reader) (*frameReader, error) {
	f := &frameReader{from: bufio.NewReaderSize(r, 1<<20), all: sha256.New()}
	magic := make([]byte, len(exportMagic))
	if _, err := io.ReadFull(f.from, magic); err != nil || string(magic) != exportMagic {
		return nil, fault.New(codes.InvalidArgument, "NOT_AN_EXPORT", "The file is not a ledger export that this program can read; one begins with the line "+exportMagic[:len(exportMagic)-1]+".")
	}
	f.all.Write(magic)
	f.bytes = int64(len(magic))
	return f, nil
}

// next reads a frame; io.EOF when the file ends between two.
func (f *frameReader) next() (kind byte, body []byte, err error) {
	at := f.bytes
	f.before = [32]byte(f.all.Sum(nil))
	front := make([]byte, frameFixedBytes)
	if _, err := io.ReadFull(f.from, front); err != nil {
		if errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
			return 0, nil, io.EOF
		}
		return 0, nil, exportDamaged(at, "it ends in the middle of a frame")
	}
	length := binary.BigEndian.Uint32(front[1:])
	if length > maxFrameBytes {
		return 0, nil, exportDamaged(at, "a frame's length cannot be right")
	}
	rest := make([]byte, int(length)+crc32.Size)
	if _, err := io.ReadFull(f.from, rest); err != nil {
		return 0, nil, exportDamaged(at, "it ends in the middle of a frame")
	}
	body = rest[:length]
	if crc32.Update(crc32.Update(0, castagnoli, front), castagnoli, body) != binary.BigEndian.Uint32(rest[length:]) {
		return 0, nil, exportDamaged(at, "a frame fails its checksum")
	}
	f.all.Write(front)
	f.all.Write(rest)
	f.bytes += int64(len(front) + len(rest))
	return front[0], body, nil
}

func exportDamaged(at int64, how string) error {
	return fault.New(codes.DataLoss, "EXPORT_DAMAGED", fmt.Sprintf("The export is damaged at byte %d: %s. Nothing was imported. Use another copy.", at, how), "byte", fmt.Sprint(at))
}
