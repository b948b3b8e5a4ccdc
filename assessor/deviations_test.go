package assessor

import (
	"fmt"
	"os"
	"runtime"
	"sync"
	"testing"

	"zonule/assessor/rubric"
	"zonule/scenarios/library"
	"zonule/scenarios/play"
)

// sums is what became of one policy in one variant over the seeds.
type sums struct {
	harm, mean, critical float64 // summed over the seeds
	worseHarm, lowerMean int     // seeds on which the eye came off worse, or the mean level was lower
}

// The sequence that common practice recommends ends better, on the eye's own measures and on the marks, than
// withdrawing at once, carrying on aspirating, raising bottle and vacuum, a radial pull at the weak sector, and
// pulling vitreous: in three kinds of eye (the variants) of each complication, over paired seeds. Source of the
// recommended order: common practice (the scenarios name what is published). The model's numbers are chosen so
// that it can express the lesson; this shows that scenarios, eye and judge agree on it, not that it is true.
func TestDeviationsEndWorse(t *testing.T) {
	items, err := library.All()
	if err != nil {
		t.Fatal(err)
	}
	eyes := 0
	for _, item := range items {
		for _, v := range item.Scenario.Variants {
			if !item.Scenario.Normal() {
				eyes++
			}
			compareVariant(t, item, v.Name, seedsFor(item.ID))
		}
	}
	if eyes < 6 {
		t.Errorf("%d kinds of eye were tried, want three of each complication", eyes)
	}
}

// seedsFor keeps the default run within a minute: the two cases the house began with are always played over 50
// seeds, the rest of the library over fewer, unless the long studies are asked for.
func seedsFor(id string) int {
	switch {
	case testing.Short():
		return 2
	case os.Getenv("ZONULE_LONG") != "", id == "morning-list-two", id == "evening-list-four":
		return 50
	}
	return 5
}

func compareVariant(t *testing.T, item library.Item, variant string, seeds int) {
	r, err := rubric.Parse("rubric.yaml", item.Rubric, rubric.NamesOf(item.Scenario))
	if err != nil {
		t.Fatal(err)
	}
	var deviations []play.Policy
	for _, p := range item.Policies {
		if p.Name != "recommended" && p.Name != "recommended-with-hooks" {
			deviations = append(deviations, p)
		}
	}
	recommended, _ := item.Policy("recommended")
	best := sums{}
	got := make([]sums, len(deviations))
	var mu sync.Mutex
	eachSeed(seeds, func(seed uint64) {
		harm, a := playJudged(t, item, r, variant, recommended, seed)
		for i, p := range deviations {
			h, b := playJudged(t, item, r, variant, p, seed)
			mu.Lock()
			got[i].add(h, b, harm, a)
			mu.Unlock()
		}
		mu.Lock()
		best.add(harm, a, harm, a)
		mu.Unlock()
	})
	n := float64(seeds)
	if best.critical > 0 {
		t.Errorf("%s %s: the recommended sequence made %v critical errors a drill", item.ID, variant, best.critical/n)
	}
	for i, p := range deviations {
		d := got[i]
		line := fmt.Sprintf("%s %s %s: harm %.1f against %.1f (worse on %d of %d), mean level %.2f against %.2f (lower on %d), %.2f critical errors a drill",
			item.ID, variant, p.Name, d.harm/n, best.harm/n, d.worseHarm, seeds, d.mean/n, best.mean/n, d.lowerMean, d.critical/n)
		t.Log(line)
		if d.harm <= best.harm || 2*d.worseHarm <= seeds {
			t.Error("the eye does not come off worse: " + line)
		}
		if d.mean >= best.mean || 10*d.lowerMean < 9*seeds {
			t.Error("the marks are not lower: " + line)
		}
		if !item.Scenario.Normal() && d.critical == 0 {
			t.Error("no critical error is named: " + line)
		}
	}
}

func (s *sums) add(harm float64, a Assessment, bestHarm float64, best Assessment) {
	s.harm += harm
	s.mean += a.Mean
	s.critical += float64(len(a.Critical))
	if harm > bestHarm+1e-9 {
		s.worseHarm++
	}
	if a.Mean < best.Mean-1e-9 {
		s.lowerMean++
	}
}

// eachSeed calls f with the seeds 1 to n, on every core.
func eachSeed(n int, f func(seed uint64)) {
	var wait sync.WaitGroup
	next := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for seed := range next {
				f(seed)
			}
		})
	}
	for seed := range n {
		next <- uint64(seed + 1)
	}
	close(next)
	wait.Wait()
}

func playJudged(t *testing.T, item library.Item, r *rubric.Rubric, variant string, p play.Policy, seed uint64) (float64, Assessment) {
	d, err := play.New(item.Scenario, play.Options{Variant: variant, Seed: seed})
	if err == nil {
		err = play.NewPlayer(p, item.Scenario, 1, seed).Play(d)
	}
	if err != nil {
		t.Errorf("%s %s seed %d: %v", item.ID, p.Name, seed, err)
		return 0, Assessment{}
	}
	a, err := Assess(*d.Timeline(), r)
	if err != nil {
		t.Errorf("%s %s seed %d: %v", item.ID, p.Name, seed, err)
	}
	return d.Outcome().Harm(), a
}
