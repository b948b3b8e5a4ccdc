package ledger

import (
	"bytes"
	"context"
	"testing"

	"zonule/services/fault"
)

// Every proof of a small ledger holds on paper; with any byte of it changed it does not hold, or says the same thing, or
// speaks of another head, which the comparison with a signed one finds out: a path alone does not bind the size.
func TestProofsOnPaper(t *testing.T) {
	_, l := spoilt(t)
	size := l.Head().Size
	var papers []string
	for sequence := uint64(1); sequence <= size; sequence++ {
		p, err := l.ProveInclusion(sequence, 0)
		if err != nil {
			t.Fatal(err)
		}
		run, err := l.Stored(context.Background(), sequence, 1)
		if err != nil {
			t.Fatal(err)
		}
		text := p.Text(l.Site(), run[0].Bytes)
		got, err := CheckProof([]byte(text))
		if err != nil || got.Sequence != sequence || got.Root != l.Head().Root || !bytes.Equal(got.Entry, run[0].Bytes) {
			t.Errorf("entry %d: %+v, %v", sequence, got, err)
		}
		growth, err := l.ProveGrowth(sequence, 0)
		if err != nil {
			t.Fatal(err)
		}
		shown, err := CheckProof([]byte(growth.Text(l.Site())))
		if err != nil || shown.OldSize != sequence || shown.OldRoot != growth.OldRoot || shown.Root != l.Head().Root {
			t.Errorf("growth from %d: %+v, %v", sequence, shown, err)
		}
		papers = append(papers, text, growth.Text(l.Site()))
	}
	for _, text := range []string{papers[10], papers[11]} {
		want, err := CheckProof([]byte(text))
		if err != nil {
			t.Fatal(err)
		}
		for i := range text {
			b := []byte(text)
			b[i] ^= 1
			got, err := CheckProof(b)
			if err != nil {
				if r := fault.Reason(err); r != "NOT_A_PROOF" && r != "PROOF_FAILS" {
					t.Errorf("byte %d: %v", i, err)
				}
				continue
			}
			if got.Size != want.Size || got.Root != want.Root {
				continue
			}
			if got.Sequence != want.Sequence || !bytes.Equal(got.Entry, want.Entry) || got.OldSize != want.OldSize || got.OldRoot != want.OldRoot {
				t.Errorf("byte %d changed: it holds, and shows %+v instead of %+v", i, got, want)
			}
		}
	}
	for _, bad := range []string{"", "x", inclusionTitle, growthTitle + "\nsite \"a\"", inclusionTitle + "\nsite \"a\"\nsequence 0\nsize 0\nroot x"} {
		_, err := CheckProof([]byte(bad))
		mustRefuse(t, err, "NOT_A_PROOF")
	}
}
