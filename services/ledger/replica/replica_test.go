package replica

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/mod/sumdb/note"

	"zonule/services/ledger"
	"zonule/services/ledger/checkpoint"
	"zonule/services/ledger/relay"
	"zonule/services/ledger/relay/natstest"
)

func TestTwoSitesFollowEachOther(t *testing.T) {
	nc := somewhere(t)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	hub.carry(t, nc)
	bench.carry(t, nc)
	r, _ := hub.follow(t, "bench", nc)
	bench.follow(t, "hub", nc)
	hub.record(t, 30)
	bench.record(t, 70)
	hub.record(t, 5)
	hub.mustShow(t, bench)
	bench.mustShow(t, hub)
	until(t, "the replica says it is up to date", func() bool {
		s := r.Status()
		return s.State == UpToDate && s.Folded == 70 && s.Sentence == ""
	})
	bench.record(t, 1)
	hub.mustShow(t, bench)
	hub.mustBeClean(t)
	bench.mustBeClean(t)
	if got := hub.Head().Size; got != 35 {
		t.Errorf("the hub's own ledger has %d entries, want 35", got)
	}
}

func TestTheOwnerGetsCosignatures(t *testing.T) {
	nc := somewhere(t)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	bench.carry(t, nc)
	bench.record(t, 10)
	hub.follow(t, "bench", nc)
	owner, _ := note.NewVerifier(bench.VerifierKey())
	cosigner, _ := note.NewVerifier(hub.VerifierKey())
	until(t, "the bench holds its checkpoint with the hub's signature", func() bool {
		kept, err := bench.CheckpointAt("bench", 10)
		if err != nil {
			t.Fatal(err)
		}
		names, _ := checkpoint.Signers(kept, owner, cosigner)
		return len(names) == 2 && names[1] == "zonule/north/hub"
	})
	bench.mustBeClean(t)
}

// A hub that was cut off, restarted, cut off in the middle, gets everything, once, in order: the view refuses anything
// else.
func TestCutOffAndRejoined(t *testing.T) {
	s := server(t, relay.EmbeddedOptions{Loopback: true})
	proxy := natstest.NewProxy(t, strings.TrimPrefix(s.URL(), "nats://"))
	away, err := nats.Connect("nats://"+proxy.Addr(), nats.MaxReconnects(-1), nats.ReconnectWait(20*time.Millisecond), nats.RetryOnFailedConnect(true))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(away.Close)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	carrier, _ := bench.carry(t, away) // the bench is at the far end
	r, stop := hub.follow(t, "bench", inside(t, s))
	recording := make(chan struct{})
	go func() {
		defer close(recording)
		bench.record(t, 900)
	}()
	for round := range 3 {
		mark := bench.Head().Size
		until(t, "the hub gets on", func() bool { return tally{}.last(t, hub.Ledger, "bench") > mark || bench.Head().Size == 900 })
		proxy.Cut()
		if round == 1 { // the hub is started anew meanwhile
			stop()
			if err := hub.Close(); err != nil {
				t.Fatal(err)
			}
			hub = reopen(t, hub.config)
			r, stop = hub.follow(t, "bench", inside(t, s))
		}
		time.Sleep(50 * time.Millisecond)
		proxy.Heal()
	}
	<-recording
	proxy.Cut()
	bench.record(t, 50) // recorded with no network
	if got := bench.Head().Size; got != 950 {
		t.Fatalf("the bench recorded %d entries while cut off, want 950", got)
	}
	until(t, "the relay has noticed", func() bool { return carrier.Status().State != relay.UpToDate })
	if got := r.Status(); got.State == Refusing {
		t.Errorf("while cut off the replica says %+v", got)
	}
	proxy.Heal()
	hub.mustShow(t, bench)
	hub.mustBeClean(t)
	bench.mustBeClean(t)
}

// What the stream has lost or damaged comes from the owner.
func TestTheOwnerSendsAgain(t *testing.T) {
	ctx := context.Background()
	nc := somewhere(t)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	bench.record(t, 40)
	carrier, stopCarrying := bench.carry(t, nc)
	until(t, "the bench is carried", func() bool { return carrier.Status().State == relay.UpToDate && carrier.Status().Carried == 40 })
	stream, err := js.Stream(ctx, relay.StreamName("north", "bench"))
	if err != nil {
		t.Fatal(err)
	}
	config := stream.CachedInfo().Config
	stopCarrying()
	copied := config
	copied.Name, copied.Subjects, copied.DenyDelete, copied.DenyPurge = "kept", []string{"kept"}, false, false
	if err := js.DeleteStream(ctx, config.Name); err != nil {
		t.Fatal(err)
	}
	config.DenyDelete = false
	if stream, err = js.CreateStream(ctx, config); err != nil {
		t.Fatal(err)
	}
	for sequence := uint64(1); sequence <= 40; sequence++ { // the same messages, the 25th with a bit flipped
		run, err := bench.Stored(ctx, sequence, 1)
		if err != nil {
			t.Fatal(err)
		}
		m, err := relay.Message(run[0])
		if err != nil {
			t.Fatal(err)
		}
		if sequence == 25 {
			m.Data = append([]byte{}, m.Data...)
			m.Data[len(m.Data)-1] ^= 1
		}
		if _, err := js.PublishMsg(ctx, m); err != nil {
			t.Fatal(err)
		}
	}
	for _, lost := range []uint64{3, 4, 5, 17, 40} {
		if err := stream.DeleteMsg(ctx, lost); err != nil {
			t.Fatal(err)
		}
	}
	r, _ := hub.follow(t, "bench", nc)
	until(t, "the replica waits, and says for what", func() bool {
		s := r.Status()
		return s.State == CatchingUp && (strings.Contains(s.Sentence, "Entries 3 to 5") || strings.Contains(s.Sentence, "not been heard"))
	})
	background(t, Owner{bench.Ledger, nc, quiet()}.Run) // the owner is back, its relay is not
	hub.mustShow(t, bench)
	hub.mustBeClean(t)
}

// A stream filled by someone else, with entries that are well formed, does not get into the views.
func TestForeignEntriesAreRefused(t *testing.T) {
	ctx := context.Background()
	nc := somewhere(t)
	hub, bench, forger := openSite(t, "hub"), openSite(t, "bench"), openSite(t, "bench")
	bench.record(t, 12)
	forger.record(t, 20) // another ledger of the same name, with another key
	carrier, stop := forger.carry(t, nc)
	until(t, "the forger is carried", func() bool { return carrier.Status().Carried == 20 })
	stop()
	background(t, Owner{bench.Ledger, nc, quiet()}.Run)
	r, err := New(Config{Ledger: hub.Ledger, Conn: nc, Site: "bench", VerifierKey: bench.VerifierKey(), Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	background(t, r.Run)
	until(t, "the hub has the true twelve entries", func() bool { return tally{}.last(t, hub.Ledger, "bench") >= 12 })
	own, err := bench.Stored(ctx, 12, 1)
	if err != nil {
		t.Fatal(err)
	}
	copied, err := hub.CopiedEntries(ctx, "bench", 12, 1)
	if err != nil || copied[0].Leaf != own[0].Leaf {
		t.Errorf("entry 12 of the copy is not the bench's (%v)", err)
	}
	if got := (tally{}).last(t, hub.Ledger, "bench"); got != 12 {
		t.Errorf("%d entries are shown, 12 are the bench's", got)
	}
	hub.mustBeClean(t)
}

// A site put back from an old copy of its folder that goes on recording has two histories. The hub says so.
func TestAForkIsReported(t *testing.T) {
	nc := somewhere(t)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	bench.record(t, 10)
	if err := bench.Close(); err != nil {
		t.Fatal(err)
	}
	old := bench.config
	old.Dir = filepath.Join(t.TempDir(), "old")
	if err := os.CopyFS(old.Dir, os.DirFS(bench.config.Dir)); err != nil {
		t.Fatal(err)
	}
	bench = reopen(t, bench.config)
	bench.record(t, 5)
	carrier, stop := bench.carry(t, nc)
	r, _ := hub.follow(t, "bench", nc)
	hub.mustShow(t, bench)
	until(t, "all is carried", func() bool { return carrier.Status().Carried == 15 })
	stop()
	again := reopen(t, old)
	for range 8 { // other entries under the numbers 11 to 18
		if _, err := again.Append(context.Background(), ledger.Command{Actor: "p-2", Decide: func(r ledger.Reader) ([]ledger.Event, error) {
			return []ledger.Event{{Subject: "y", Payload: number(r.Position().GetSequence() + 1)}}, nil
		}}); err != nil {
			t.Fatal(err)
		}
	}
	background(t, Owner{again.Ledger, nc, quiet()}.Run)
	until(t, "the hub reports two histories", func() bool {
		s := r.Status()
		return s.State == Refusing && strings.Contains(s.Sentence, "two histories")
	})
	if got := (tally{}).last(t, hub.Ledger, "bench"); got != 15 {
		t.Errorf("%d entries are shown, want the 15 of the first history", got)
	}
	hub.mustBeClean(t)
}

func TestAnotherKeyIsRefused(t *testing.T) {
	nc := somewhere(t)
	hub, bench := openSite(t, "hub"), openSite(t, "bench")
	bench.record(t, 3)
	_, stop := bench.carry(t, nc)
	_, leave := hub.follow(t, "bench", nc)
	hub.mustShow(t, bench)
	leave()
	stop()
	r, err := New(Config{Ledger: hub.Ledger, Conn: nc, Site: "bench", VerifierKey: openSite(t, "bench").VerifierKey(), Logger: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	background(t, r.Run)
	until(t, "the key is refused", func() bool {
		return r.Status().State == Refusing && strings.Contains(r.Status().Sentence, "is known here by the key")
	})
}
