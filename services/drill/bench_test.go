package drill

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// BenchmarkDecide measures durable decisions through gRPC: what one client waits for, and what many get done together.
// Each client plays drills of its own, saying a word or moving the pedal after a twentieth of a second. For comparison
// in the same run: bare is one write and one fsync of as many bytes as a decision's entry has. Clients and server share
// one process, so the processor time is that of both.
func BenchmarkDecide(b *testing.B) {
	b.Run("bare", benchmarkBare)
	for _, clients := range []int{1, 64} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) { benchmarkDecide(b, clients) })
	}
}

func benchmarkDecide(b *testing.B, clients int) {
	s := start(b)
	players := make(chan *player, clients)
	for c := range clients {
		players <- &player{site: s, name: fmt.Sprintf("client-%d", c)}
	}
	b.SetParallelism(max(1, clients/2)) // times the two cores
	taken := atomic.Int64{}
	b.ResetTimer()
	begun, worked := time.Now(), processorTime(b)
	b.RunParallel(func(pb *testing.PB) {
		p := <-players
		for pb.Next() {
			if err := p.next(); err != nil {
				b.Error(err)
				return
			}
			taken.Add(1)
		}
		players <- p
	})
	b.StopTimer()
	n := float64(taken.Load())
	b.ReportMetric(n/time.Since(begun).Seconds(), "decisions/s")
	b.ReportMetric(float64((processorTime(b)-worked).Microseconds())/n, "cpu-us/op")
}

func benchmarkBare(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "log"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	entry := make([]byte, 2000)
	for b.Loop() {
		if _, err := f.Write(entry); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "fsyncs/s")
}

// processorTime is what this process has used so far.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// player is one client at one bench.
type player struct {
	site   *site
	name   string
	drills int
	drill  string
	index  uint32
}

// longest is how many decisions a client takes in one drill, as many as a long drill has.
const longest = 40

func (p *player) next() error {
	if p.drill == "" || p.index == longest {
		p.drills++
		resp, err := p.site.client.StartDrill(context.Background(), &drillv1.StartDrillRequest{
			RequestId: fmt.Sprintf("%s-%d", p.name, p.drills), PersonId: "ash-1", ScenarioId: "bench-case", Variant: "easier", Seed: 7})
		if err != nil {
			return err
		}
		p.drill, p.index = resp.GetDrill().GetDrillId(), 0
	}
	action := say("look")
	if p.index%2 == 1 {
		action = &drillv1.Action{Verb: "pedal", Numbers: map[string]float64{"position": 1, "for": 0.1}}
	}
	_, err := p.site.client.Decide(context.Background(), act(p.drill, p.index, 0.05, action))
	p.index++
	return err
}
