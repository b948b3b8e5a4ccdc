package checks

import (
	"fmt"
	"math"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/eye/policy"
)

// law tries a statement: those that need whole runs here, the others in the eye.
func (c *Checker) law(row Row) error {
	switch {
	case strings.HasPrefix(row.Quantity, "same seed and actions"):
		return c.sameBits()
	case strings.HasPrefix(row.Quantity, "policy run with quiescent fast-forward"):
		return c.longSteps(row)
	}
	return eye.Law(row.Quantity, row.Inputs)
}

// sameBits plays a plan twice on each eye.
func (c *Checker) sameBits() error {
	for _, cs := range policy.Cases() {
		for _, p := range policy.Plans()[:2] {
			a, err := policy.Play(cs, p, 7)
			if err != nil {
				return err
			}
			b, err := policy.Play(cs, p, 7)
			if err != nil {
				return err
			}
			if a.Measures() != b.Measures() {
				return fmt.Errorf("eye %s, %s, seed 7: two runs differ", cs.Name, p.Name)
			}
		}
	}
	return nil
}

// longSteps plays the recommended plan on all eyes with and without long steps while calm.
func (c *Checker) longSteps(row Row) error {
	first, last, err := seeds(row.Inputs)
	if err != nil {
		return err
	}
	slow := eye.DefaultParams()
	slow.CalmAfter = math.MaxInt
	for _, cs := range policy.Cases() {
		p := policy.Plans()[0]
		fast, err := policy.Runs(cs, p, first, last-first+1, max(1, c.Workers), nil)
		if err != nil {
			return err
		}
		exact, err := policy.Runs(cs, p, first, last-first+1, max(1, c.Workers), &slow)
		if err != nil {
			return err
		}
		for i, x := range fast {
			y := exact[i]
			if x.DialysisHours != y.DialysisHours || math.Abs(x.VitreousTotalUL-y.VitreousTotalUL) > 0.1 || math.Abs(x.LowestDepthMM-y.LowestDepthMM) > 0.007 {
				return fmt.Errorf("eye %s seed %d: hours %g and %g, vitreous %g and %g uL, depth %g and %g mm", cs.Name, first+i,
					x.DialysisHours, y.DialysisHours, x.VitreousTotalUL, y.VitreousTotalUL, x.LowestDepthMM, y.LowestDepthMM)
			}
		}
	}
	return nil
}
