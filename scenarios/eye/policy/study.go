package policy

import (
	"fmt"
	"sync"
	"sync/atomic"

	"zonule/scenarios/eye"
)

// Runs plays a plan on a case with n seeds from first on and gives the outcomes in the order
// of the seeds, so many at a time as workers says; par nil means the default parameters. The
// answer does not depend on the number of workers.
func Runs(c Case, p Plan, first, n, workers int, par *eye.Params) ([]eye.Outcome, error) {
	out, errs := make([]eye.Outcome, n), make([]error, n)
	each(n, workers, func(i int) {
		var e *eye.Eye
		if seed := uint64(first + i); par == nil {
			e, errs[i] = Play(c, p, seed)
		} else {
			e, errs[i] = PlayWith(c, p, seed, *par)
		}
		if errs[i] == nil {
			out[i] = e.Outcome()
		}
	})
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("eye %s, plan %s, seed %d: %w", c.Name, p.Name, first+i, err)
		}
	}
	return out, nil
}

// each does f for 0..n-1 in several goroutines; f must write only what belongs to its index.
func each(n, workers int, f func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(max(1, workers), n) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wg.Wait()
}
