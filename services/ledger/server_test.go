package ledger

import (
	"context"
	"net"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// dial serves a ledger through a real gRPC server in memory.
func dial(t *testing.T, l *Ledger) ledgerv1.LedgerServiceClient {
	t.Helper()
	listener := bufconn.Listen(1 << 20)
	s := grpc.NewServer()
	ledgerv1.RegisterLedgerServiceServer(s, NewServer(l))
	go s.Serve(listener)
	t.Cleanup(s.Stop)
	cc, err := grpc.NewClient("passthrough:memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cc.Close() })
	return ledgerv1.NewLedgerServiceClient(cc)
}

func TestService(t *testing.T) {
	ctx := context.Background()
	l := open(t, config(t.TempDir()))
	client := dial(t, l)
	for range 7 {
		mustAppend(t, l, does("", adds("a", 1)))
	}
	head, err := client.GetHead(ctx, &ledgerv1.GetHeadRequest{AtLeast: &ledgerv1.Position{Site: "lab-1", Sequence: 7}})
	if err != nil || head.GetHead().GetSize() != 7 {
		t.Fatalf("head %v, %v", head, err)
	}
	var seen uint64
	for from := uint64(0); ; {
		page, err := client.ListEntries(ctx, &ledgerv1.ListEntriesRequest{From: from, Limit: 3, IncludeStored: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range page.GetEntries() {
			seen++
			leaf := tlog.RecordHash(e.GetStored())
			decoded := &ledgerv1.Entry{}
			if err := proto.Unmarshal(e.GetStored(), decoded); err != nil || !proto.Equal(decoded, e.GetEntry()) {
				t.Errorf("entry %d: the stored bytes are not the entry: %v", seen, err)
			}
			if e.GetEntry().GetSequence() != seen || string(leaf[:]) != string(e.GetLeafHash()) {
				t.Errorf("entry %d came as %d with leaf %x", seen, e.GetEntry().GetSequence(), e.GetLeafHash())
			}
			proof, err := client.GetInclusionProof(ctx, &ledgerv1.GetInclusionProofRequest{Sequence: seen})
			if err != nil {
				t.Fatal(err)
			}
			if err := tlog.CheckRecord(hashes(proof.GetHashes()), 7, tlog.Hash(head.GetHead().GetRootHash()), int64(seen)-1, leaf); err != nil {
				t.Errorf("entry %d: %v", seen, err)
			}
		}
		if from = page.GetNextFrom(); len(page.GetEntries()) == 0 {
			break
		}
	}
	if seen != 7 {
		t.Errorf("listed %d entries", seen)
	}
	growth, err := client.GetConsistencyProof(ctx, &ledgerv1.GetConsistencyProofRequest{OldSize: 3})
	if err != nil {
		t.Fatal(err)
	}
	if err := tlog.CheckTree(hashes(growth.GetHashes()), 7, tlog.Hash(growth.GetRootHash()), 3, tlog.Hash(growth.GetOldRootHash())); err != nil {
		t.Error(err)
	}
	report, err := client.CheckLedger(ctx, &ledgerv1.CheckLedgerRequest{})
	if err != nil || !report.GetClean() || len(report.GetVerdicts()) == 0 {
		t.Errorf("report %v, %v", report, err)
	}
	spoil(t, l, spaceEntry, sequenceKey(2), flip)
	if report, err := client.CheckLedger(ctx, &ledgerv1.CheckLedgerRequest{}); err != nil || report.GetClean() {
		t.Errorf("with a damaged entry: %v, %v", report, err)
	}
}

func hashes(b [][]byte) []tlog.Hash {
	h := make([]tlog.Hash, len(b))
	for i := range b {
		h[i] = tlog.Hash(b[i])
	}
	return h
}

func TestServiceRefuses(t *testing.T) {
	ctx := context.Background()
	l := open(t, config(t.TempDir()))
	client := dial(t, l)
	mustAppend(t, l, does("", adds("a", 1)))
	cases := []struct {
		name   string
		call   func() error
		code   codes.Code
		reason string
	}{
		{"a position elsewhere", func() error {
			_, err := client.GetHead(ctx, &ledgerv1.GetHeadRequest{AtLeast: &ledgerv1.Position{Site: "x", Sequence: 1}})
			return err
		}, codes.InvalidArgument, "POSITION_OF_OTHER_SITE"},
		{"a proof of nothing", func() error {
			_, err := client.GetInclusionProof(ctx, &ledgerv1.GetInclusionProofRequest{Sequence: 2})
			return err
		}, codes.OutOfRange, "NOT_IN_TREE"},
		{"a tree to come", func() error {
			_, err := client.GetConsistencyProof(ctx, &ledgerv1.GetConsistencyProofRequest{OldSize: 1, TreeSize: 9})
			return err
		}, codes.OutOfRange, "BEYOND_THE_END"},
	}
	for _, c := range cases {
		err := c.call()
		if fault.Code(err) != c.code || fault.Reason(err) != c.reason {
			t.Errorf("%s: %v, want %v %s", c.name, err, c.code, c.reason)
		}
	}
}

// Large entries must come in as many answers as gRPC's limit asks for.
func TestListOfLargeEntries(t *testing.T) {
	l := open(t, config(t.TempDir()))
	client := dial(t, l)
	for range 12 {
		mustAppend(t, l, does("", Event{"s", structpb.NewStringValue(strings.Repeat("x", 400<<10))}))
	}
	seen, calls := 0, 0
	for from := uint64(1); seen < 12; calls++ {
		page, err := client.ListEntries(context.Background(), &ledgerv1.ListEntriesRequest{From: from, Limit: 1000, IncludeStored: true})
		if err != nil {
			t.Fatal(err)
		}
		if len(page.GetEntries()) == 0 {
			t.Fatalf("the list ends at %d", seen)
		}
		seen += len(page.GetEntries())
		from = page.GetNextFrom()
	}
	if seen != 12 || calls < 2 {
		t.Errorf("%d entries in %d answers", seen, calls)
	}
}
