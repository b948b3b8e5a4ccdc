package policy

import (
	"fmt"
	"sort"
	"strings"

	"zonule/scenarios/eye"
)

// Cell sums up one plan on one eye over paired seeds 1..n: means unless said.
type Cell struct {
	Case                        Case
	Plan                        Plan
	Harm, Low, High             float64 // mean, 10th and 90th percentile of the harm index
	Worse                       float64 // per cent of seeds with more harm than P0
	New, Total, Peak            float64 // clock hours, load over strength
	Gel, Left, Traction, Hazard float64 // uL, uL, mN s, per cent
	Rent                        float64 // per cent, of hazard
	Depth, CDE, Loss            float64 // lowest, mm; power s; per cent
	Offset, Wobble              float64
	Supported, Seconds          float64 // per cent of seeds; s
}

// Table plays all plans on all eyes with n paired seeds. The healthy eye has P0 to P3 only: the
// others concern what it does not have.
func Table(n, workers int) ([]Cell, error) {
	var cells []Cell
	for _, c := range Cases() {
		plans := Plans()
		if c.Name == "H" {
			plans = plans[:4]
		}
		var base []eye.Outcome
		for _, p := range plans {
			runs, err := Runs(c, p, 1, n, workers, nil)
			if err != nil {
				return nil, err
			}
			if base == nil {
				base = runs
			}
			cells = append(cells, sum(c, p, runs, base))
		}
	}
	return cells, nil
}

func sum(c Case, p Plan, runs, base []eye.Outcome) Cell {
	out := Cell{Case: c, Plan: p}
	n := float64(len(runs))
	harms := make([]float64, len(runs))
	for i, o := range runs {
		harms[i] = o.Harm()
		out.Harm += harms[i] / n
		if harms[i] > base[i].Harm() {
			out.Worse += 100 / n
		}
		if o.Supported {
			out.Supported += 100 / n
		}
		for _, x := range []struct {
			to  *float64
			val float64
		}{
			{&out.New, o.NewDialysisHours}, {&out.Total, o.DialysisHours}, {&out.Peak, o.PeakLoadRatio}, {&out.Gel, o.VitreousTotalUL}, {&out.Left, o.VitreousLeftUL},
			{&out.Traction, o.TractionMNS}, {&out.Hazard, 100 * o.TractionHazard}, {&out.Rent, 100 * o.RentHazard}, {&out.Depth, o.LowestDepthMM},
			{&out.CDE, o.CDE}, {&out.Loss, o.EndothelialLossPct}, {&out.Offset, o.OffsetMM}, {&out.Wobble, o.Wobble}, {&out.Seconds, o.Seconds},
		} {
			*x.to += x.val / n
		}
	}
	sort.Float64s(harms)
	out.Low, out.High = harms[len(harms)/10], harms[(len(harms)*9)/10]
	return out
}

// Format writes the table as text, an eye after another.
func Format(cells []Cell) string {
	var b strings.Builder
	last := ""
	for _, c := range cells {
		if c.Case.Name != last {
			if last != "" {
				b.WriteString("\n")
			}
			last = c.Case.Name
			fmt.Fprintf(&b, "Eye %s, %s\n\n", c.Case.Name, c.Case.Meaning)
			b.WriteString("| plan | harm mean (p10..p90) | worse % | new h | total h | peak load/strength | gel uL all / left | traction mN s | hazard % | rent hazard % | lowest depth mm | CDE | loss % | offset mm | wobble | supported % | s |\n")
			b.WriteString("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n")
		}
		wobble := fmt.Sprintf("%.2f", c.Wobble)
		if c.Wobble >= 20 {
			wobble = ">= 20"
		}
		fmt.Fprintf(&b, "| %s %s | %.1f (%.1f..%.1f) | %.0f | %.2f | %.2f | %.2f | %.1f / %.1f | %.2f | %.1f | %.0f | %.2f | %.2f | %.1f | %.2f | %s | %.0f | %.0f |\n",
			c.Plan.Name, c.Plan.Meaning, c.Harm, c.Low, c.High, c.Worse, c.New, c.Total, c.Peak, c.Gel, c.Left, c.Traction, c.Hazard, c.Rent,
			c.Depth, c.CDE, c.Loss, c.Offset, wobble, c.Supported, c.Seconds)
	}
	return b.String()
}
