package drill

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// BenchmarkDecide measures durable decisions through gRPC: what one client waits for, and what many get done together.
// Each client plays drills of its own, saying a word or moving the pedal after a twentieth of a second.
func BenchmarkDecide(b *testing.B) {
	for _, clients := range []int{1, 64} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) {
			s := start(b)
			players := make(chan *player, clients)
			for c := range clients {
				players <- &player{site: s, name: fmt.Sprintf("client-%d", c)}
			}
			b.SetParallelism(max(1, clients/2)) // times the two cores
			begun, taken := time.Now(), atomic.Int64{}
			b.ResetTimer()
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
			b.ReportMetric(float64(taken.Load())/time.Since(begun).Seconds(), "decisions/s")
		})
	}
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
