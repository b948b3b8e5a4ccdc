package ledger

import (
	"context"
	"strings"
	"testing"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

func TestServerGivesCheckpointsAndCopies(t *testing.T) {
	ctx := context.Background()
	owner, l := open(t, siteConfig(t.TempDir(), "bench")), open(t, config(t.TempDir()))
	s := NewServer(l).WithFollowing(func(site string) (string, string) { return "catching up", "About " + site + "." })
	_, err := s.GetCheckpoint(ctx, &ledgerv1.GetCheckpointRequest{})
	mustRefuse(t, err, "NO_SUCH_CHECKPOINT")
	_, err = s.GetCheckpoint(ctx, &ledgerv1.GetCheckpointRequest{Site: "bench"})
	mustRefuse(t, err, "NO_SUCH_COPY")
	mustAppend(t, l, does("", adds("x", 1)))
	mustAppend(t, owner, does("", adds("x", 1), adds("y", 1)))
	follow(t, l, owner)
	if _, err := l.Cosign(ctx, "bench"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		req  *ledgerv1.GetCheckpointRequest
		want string // the first lines, and how many signatures
		sigs int
	}{
		{&ledgerv1.GetCheckpointRequest{}, "zonule/north/lab-1\n1\n", 1},
		{&ledgerv1.GetCheckpointRequest{Size: 1}, "zonule/north/lab-1\n1\n", 1},
		{&ledgerv1.GetCheckpointRequest{Site: "bench"}, "zonule/north/bench\n2\n", 2},
		{&ledgerv1.GetCheckpointRequest{Site: "bench", Size: 2}, "zonule/north/bench\n2\n", 2},
	} {
		got, err := s.GetCheckpoint(ctx, c.req)
		if err != nil || !strings.HasPrefix(got.GetNote(), c.want) || strings.Count(got.GetNote(), "\n— ") != c.sigs {
			t.Errorf("%v: %v\n%s", c.req, err, got.GetNote())
		}
	}
	_, err = s.GetCheckpoint(ctx, &ledgerv1.GetCheckpointRequest{Site: "bench", Size: 1})
	mustRefuse(t, err, "NO_SUCH_CHECKPOINT")
	copies, err := s.ListCopies(ctx, &ledgerv1.ListCopiesRequest{})
	if err != nil || len(copies.GetCopies()) != 1 {
		t.Fatalf("%v, %v", copies, err)
	}
	if c := copies.GetCopies()[0]; c.GetSite() != "bench" || c.GetVerifierKey() != owner.VerifierKey() || c.GetFolded() != 2 || c.GetState() != "catching up" || c.GetSentence() != "About bench." {
		t.Errorf("%v", c)
	}
	if err := l.Read(ctx, &ledgerv1.Position{Site: "bench", Sequence: 2}, func(Reader) error { return nil }); err != nil {
		t.Errorf("the views show entry 2 of bench and yet: %v", err)
	}
}
