package author

import (
	"errors"
	"fmt"
	"runtime"
	"sync"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

// Plan says how a scenario is explored.
type Plan struct {
	Seed     uint64        // of everything; the same plan gives the same report
	Seeds    int           // drills begun in each variant
	Depth    int           // every way through so many first decisions is played
	Samples  int           // about so many drills by chance for each drill begun
	Policies []play.Policy // the first is the author's way, which ends every way explored
	Judge    Judge         // nil leaves marks out

	Workers  int                   // goroutines; 0 for one a core. It never changes the report
	Progress func(done, total int) // called as parts are done, from one goroutine at a time; may be nil
}

// Usual is a plan of a middling size: some thousands of drills, about half a minute on one core.
func Usual(seed uint64) Plan { return Plan{Seed: seed, Seeds: 2, Depth: 3, Samples: 300} }

// root is where branches part: a variant on a seed.
type root struct {
	variant string
	seed    uint64
}

// part is one piece of the work: one kind of exploring from one root.
type part struct {
	root
	kind  kind
	w     *walker
	base  run
	turns []turn
}

type kind int

const (
	byTurns kind = iota
	byTree
	byChance
	kinds
)

// Explore plays a scenario through: the author's way with every single turn away from it, every way to the
// plan's depth, the policies, and drills by chance; in parallel, from the same seeds in every variant. The error
// says what in the plan does not fit; a decision that fails in play is in the report.
func Explore(sc *script.Scenario, plan Plan) (*Report, error) {
	if len(plan.Policies) == 0 {
		return nil, errors.New("exploring needs the author's way; give policies, the first of which is recommended")
	}
	if plan.Seeds < 1 || plan.Seeds > 1000 || plan.Depth < 0 || plan.Depth > 8 || plan.Samples < 0 || plan.Samples > 1_000_000 {
		return nil, fmt.Errorf("%d seeds, a depth of %d and %d drills by chance do not go; take 1 to 1000, 0 to 8, 0 to 1000000", plan.Seeds, plan.Depth, plan.Samples)
	}
	var parts []*part
	for _, v := range sc.Variants {
		for i := range plan.Seeds {
			for k := range kinds {
				parts = append(parts, &part{root: root{v.Name, plan.Seed + uint64(i)}, kind: k})
			}
		}
	}
	work(sc, plan, parts)
	return gather(sc, plan, parts), nil
}

// work does the parts, several at a time. Each has a stream and a walker of its own, so that the order does not
// matter.
func work(sc *script.Scenario, plan Plan, parts []*part) {
	workers := plan.Workers
	if workers < 1 {
		workers = runtime.GOMAXPROCS(0)
	}
	next := make(chan *part)
	var wait sync.WaitGroup
	var told sync.Mutex
	done := 0
	for range min(workers, len(parts)) {
		wait.Go(func() {
			for p := range next {
				p.do(sc, plan)
				told.Lock()
				done++
				if plan.Progress != nil {
					plan.Progress(done, len(parts))
				}
				told.Unlock()
			}
		})
	}
	for _, p := range parts {
		next <- p
	}
	close(next)
	wait.Wait()
}

func (p *part) do(sc *script.Scenario, plan Plan) {
	p.w = newWalker(sc, plan)
	switch p.kind {
	case byTurns:
		p.base, p.turns = p.w.turns(p.root)
	case byTree:
		p.w.tree(p.w.begin(p.root), plan.Depth)
	case byChance:
		if plan.Samples > 0 {
			p.w.byChance(p.root, plan.Samples, newChance(p.root))
		}
	}
}

// newChance starts the stream of one root's drills by chance.
func newChance(r root) *script.Stream { return script.NewStream(r.seed, "chance "+r.variant) }
