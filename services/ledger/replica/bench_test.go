package replica

import (
	"testing"

	"zonule/services/ledger/relay"
)

// BenchmarkReplica gives the entries a second that a new replica takes from a stream, verifies, keeps and folds.
func BenchmarkReplica(b *testing.B) {
	const size = 20_000
	nc := inside(b, server(b, relay.EmbeddedOptions{}))
	owner := openSite(b, "bench")
	recordMany(b, owner, size)
	carrier, _ := owner.carry(b, nc)
	until(b, "all is carried", func() bool { return carrier.Status().Carried == size })
	for b.Loop() {
		b.StopTimer()
		hub := openSite(b, "hub")
		b.StartTimer()
		_, stop := hub.follow(b, "bench", nc)
		hub.mustShow(b, owner)
		b.StopTimer()
		stop()
		b.StartTimer()
	}
	b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkCopyBare is the same work without NATS: entries handed over in memory.
func BenchmarkCopyBare(b *testing.B) {
	const size = 20_000
	owner := openSite(b, "bench")
	recordMany(b, owner, size)
	for b.Loop() {
		b.StopTimer()
		hub := openSite(b, "hub")
		b.StartTimer()
		copyAll(b, hub, owner)
	}
	b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}
