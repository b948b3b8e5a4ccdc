package replica

import (
	"context"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"zonule/services/ledger/relay"
	"zonule/services/ledger/relay/natstest"
)

func TestMain(m *testing.M) {
	natstest.Main()
	os.Exit(m.Run())
}

// Three servers keep the streams, speaking TLS and knowing their clients by key. The leader is killed twice while four
// clients record: nothing acknowledged is lost, in the stream every entry lies once and in order, and the hub has all.
func TestALeaderIsKilledUnderLoad(t *testing.T) {
	if !natstest.InCluster() {
		t.Skip("starts three servers; set ZONULE_CLUSTER=1")
	}
	cluster := natstest.StartCluster(t)
	outside := cluster.External()
	outside.Logger = quiet()
	nc, err := outside.Connect("test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	carrier, err := relay.New(relay.Config{Ledger: bench.Ledger, Conn: nc, Replicas: 3, Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	background(t, carrier.Run)
	background(t, Owner{bench.Ledger, nc, quiet()}.Run)
	hub.follow(t, "bench", nc)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	var clients sync.WaitGroup
	for range 4 {
		clients.Go(func() {
			for range 1500 {
				bench.record(t, 1)
				time.Sleep(10 * time.Millisecond)
			}
		})
	}
	until(t, "the first entries are carried", func() bool { return carrier.Status().Carried > 100 })
	acknowledged := uint64(0)
	for range 2 {
		leader := leads(t, js)
		acknowledged = max(acknowledged, carrier.Status().Carried)
		cluster.Kill(leader)
		until(t, "the cluster has another leader, and carrying goes on", func() bool { return carrier.Status().Carried > acknowledged+200 })
		cluster.Start(t, leader)
		time.Sleep(3 * time.Second)
	}
	clients.Wait()
	hub.mustShow(t, bench)
	until(t, "all is carried", func() bool { return carrier.Status().Carried == bench.Head().Size })
	lost := uint64(0)
	for sequence := uint64(1); sequence <= bench.Head().Size; sequence++ {
		if !inStream(t, js, bench, sequence) {
			lost++
		}
	}
	t.Logf("2 leaders killed, %d entries acknowledged by the stream, %d lost", bench.Head().Size, lost)
	if lost > 0 {
		t.Errorf("%d acknowledged entries are not in the stream", lost)
	}
	hub.mustBeClean(t)
	bench.mustBeClean(t)
}

// leads says which node leads the bench's stream.
func leads(t *testing.T, js jetstream.JetStream) int {
	t.Helper()
	leader := -1
	until(t, "the stream has a leader", func() bool {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		stream, err := js.Stream(ctx, relay.StreamName("north", "bench"))
		if err != nil || stream.CachedInfo().Cluster == nil {
			return false
		}
		if got := len(stream.CachedInfo().Cluster.Replicas); got != 2 {
			t.Fatalf("the stream has %d replicas beside its leader, want 2", got)
		}
		leader = natstest.Node(stream.CachedInfo().Cluster.Leader)
		return leader >= 0
	})
	return leader
}

// inStream says whether the stream holds an entry at the sequence of the same number: every one once, and in order.
func inStream(t *testing.T, js jetstream.JetStream, s *site, sequence uint64) bool {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	stream, err := js.Stream(ctx, relay.StreamName("north", "bench"))
	if err != nil {
		t.Fatal(err)
	}
	msg, err := stream.GetMsg(ctx, sequence)
	if err != nil {
		return false
	}
	own, err := s.Stored(ctx, sequence, 1)
	return err == nil && string(msg.Data) == string(own[0].Bytes)
}
