package ledger

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// Head is the state of a ledger in two values: how many entries, and the root hash of the tree over them.
type Head struct {
	Site string
	Size uint64
	Root tlog.Hash
}

// format is the version of the layout of keys and values. A program refuses a ledger of another.
const format = 1

// identity says whose ledger a store is; written when it is made.
type identity struct {
	Format    int    `json:"format"`
	Programme string `json:"programme"`
	Site      string `json:"site"`
}

// viewState is what the ledger knows about a view's rows.
type viewState struct {
	name       string
	version    uint32
	generation uint32
	position   uint64 // the rows are the fold of the entries up to this one
	rows       uint64 // how many rows there are
	sum        uint64 // the sum of their checksums, modulo 2^64
	space      string // where the rows lie, from name and generation
}

// emptyView is the state of a view before its first entry.
func emptyView(name string, version, generation uint32) viewState {
	return viewState{name: name, version: version, generation: generation, space: viewSpace(name, generation)}
}

// counted says how a view's rows change when one row is put in another's place (either may be absent).
func (v *viewState) counted(old row, had bool, sum uint32, has bool) {
	if had {
		v.rows--
		v.sum -= uint64(old.sum)
	}
	if has {
		v.rows++
		v.sum += uint64(sum)
	}
}

var errShort = errors.New("the stored record is too short")

func encodeHead(h Head) []byte {
	return append(binary.BigEndian.AppendUint64(nil, h.Size), h.Root[:]...)
}

func decodeHead(site string, b []byte) (Head, error) {
	if len(b) != 8+tlog.HashSize {
		return Head{}, errShort
	}
	h := Head{Site: site, Size: binary.BigEndian.Uint64(b)}
	copy(h.Root[:], b[8:])
	return h, nil
}

func encodeIdentity(id identity) []byte {
	b, err := json.Marshal(id)
	if err != nil {
		panic(fmt.Sprintf("two strings and a number did not encode: %v", err))
	}
	return b
}

func encodeViews(views []viewState) []byte {
	b := make([]byte, 0, 64*len(views))
	for _, v := range views {
		b = binary.AppendUvarint(b, uint64(len(v.name)))
		b = append(b, v.name...)
		for _, n := range []uint64{uint64(v.version), uint64(v.generation), v.position, v.rows, v.sum} {
			b = binary.AppendUvarint(b, n)
		}
	}
	return b
}

func decodeViews(b []byte) ([]viewState, error) {
	var views []viewState
	number := func() uint64 {
		n, size := binary.Uvarint(b)
		if size <= 0 {
			b = nil
			return 0
		}
		b = b[size:]
		return n
	}
	for len(b) > 0 {
		length := number()
		if uint64(len(b)) < length {
			return nil, errShort
		}
		v := viewState{name: string(b[:length])}
		b = b[length:]
		v.version, v.generation = uint32(number()), uint32(number())
		v.position, v.rows = number(), number()
		if len(b) == 0 {
			return nil, errShort
		}
		v.sum = number()
		v.space = viewSpace(v.name, v.generation)
		views = append(views, v)
	}
	return views, nil
}

// findView gives the index of a view's state, or -1.
func findView(views []viewState, name string) int {
	return slices.IndexFunc(views, func(v viewState) bool { return v.name == name })
}
