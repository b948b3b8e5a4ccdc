package ledger

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/tlog"
)

// reference is testdata/hash/merkle.json: hashes of the eight leaves of the Certificate Transparency tests, computed
// with tlog and, independently, from the text of RFC 6962 section 2.1.
type reference struct {
	Empty       string   `json:"empty_tree_root"`
	Leaves      []string `json:"leaves_hex"`
	LeafHashes  []string `json:"leaf_hashes"`
	Roots       []string `json:"roots_for_size_1_to_n"`
	Inclusion   []proven `json:"inclusion"`
	Consistency []proven `json:"consistency"`
}

type proven struct {
	Leaf  int64    `json:"leaf_index"`
	Size  int64    `json:"tree_size"`
	Path  []string `json:"path"`
	Old   int64    `json:"old_size"`
	New   int64    `json:"new_size"`
	Proof []string `json:"proof"`
}

// grown is a tree in memory, kept in groups as the ledger keeps them.
type grown struct {
	frontier
	groups map[uint64][]byte
}

func (g *grown) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		sequence, at := place(index)
		group, err := splitGroup(sequence, g.groups[sequence])
		if err != nil {
			return nil, err
		}
		hashes[i] = group[at]
	}
	return hashes, nil
}

func (g *grown) add(t testing.TB, leaf []byte) {
	t.Helper()
	hashes, err := g.grow(tlog.RecordHash(leaf))
	if err != nil {
		t.Fatal(err)
	}
	g.groups[g.size] = joinGroup(hashes)
}

func newGrown() *grown {
	return &grown{frontier: frontier{peaks: map[int64]tlog.Hash{}}, groups: map[uint64][]byte{}}
}

func texts(hashes []tlog.Hash) []string {
	var t []string
	for _, h := range hashes {
		t = append(t, hex.EncodeToString(h[:]))
	}
	return t
}

func TestTreeAgainstReference(t *testing.T) {
	b, err := os.ReadFile("../../testdata/hash/merkle.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref reference
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.Leaves) != 8 || len(ref.Inclusion) == 0 || len(ref.Consistency) == 0 {
		t.Fatal("the reference is not what it was")
	}
	tree := newGrown()
	if root, err := tree.root(); err != nil || hex.EncodeToString(root[:]) != ref.Empty {
		t.Errorf("empty root %x, %v", root, err)
	}
	for i, leaf := range ref.Leaves {
		bytes, err := hex.DecodeString(leaf)
		if err != nil {
			t.Fatal(err)
		}
		tree.add(t, bytes)
		if h := tlog.RecordHash(bytes); hex.EncodeToString(h[:]) != ref.LeafHashes[i] {
			t.Errorf("leaf %d hashes to %x", i, h)
		}
		if root, err := tree.root(); err != nil || hex.EncodeToString(root[:]) != ref.Roots[i] {
			t.Errorf("root of %d is %x, %v", i+1, root, err)
		}
	}
	for _, p := range ref.Inclusion {
		got, err := tlog.ProveRecord(p.Size, p.Leaf, tree)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(p.Path, texts(got)); diff != "" {
			t.Errorf("leaf %d in %d (-want +got):\n%s", p.Leaf, p.Size, diff)
		}
	}
	for _, p := range ref.Consistency {
		got, err := tlog.ProveTree(p.New, p.Old, tree)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(p.Proof, texts(got)); diff != "" {
			t.Errorf("%d in %d (-want +got):\n%s", p.Old, p.New, diff)
		}
	}
}

// TestTreesOfEverySize grows a tree leaf by leaf and compares it, at every size, with tlog's own way of storing, with
// the frontier read back from the groups, and every proof with every leaf.
func TestTreesOfEverySize(t *testing.T) {
	const most = 100
	tree := newGrown()
	var flat []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var hashes []tlog.Hash
		for _, i := range indexes {
			hashes = append(hashes, flat[i])
		}
		return hashes, nil
	})
	for n := range int64(most) {
		leaf := []byte{byte(n), byte(n >> 8)}
		stored, err := tlog.StoredHashes(n, leaf, reader)
		if err != nil {
			t.Fatal(err)
		}
		flat = append(flat, stored...)
		tree.add(t, leaf)
		size := n + 1
		want, err := tlog.TreeHash(size, reader)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := tree.root(); err != nil || got != want {
			t.Fatalf("size %d: root %v, want %v, %v", size, got, want, err)
		}
		again, err := readFrontier(uint64(size), tree)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(tree.peaks, again.peaks); diff != "" {
			t.Fatalf("size %d: frontier read back (-grown +read):\n%s", size, diff)
		}
		for i := range size {
			proof, err := tlog.ProveRecord(size, i, tree)
			if err != nil {
				t.Fatal(err)
			}
			right := tlog.RecordHash([]byte{byte(i), byte(i >> 8)})
			if err := tlog.CheckRecord(proof, size, want, i, right); err != nil {
				t.Fatalf("leaf %d in %d: %v", i, size, err)
			}
			if tlog.CheckRecord(proof, size, want, i, tlog.RecordHash([]byte{0xff})) == nil {
				t.Fatalf("leaf %d in %d: a wrong leaf passes", i, size)
			}
		}
	}
	for index, want := range flat {
		if got, err := tree.ReadHashes([]int64{int64(index)}); err != nil || got[0] != want {
			t.Fatalf("stored hash %d: %v, want %v, %v", index, got, want, err)
		}
	}
}
