package policy

import (
	"os"
	"strconv"
	"testing"
	"time"
	"zonule/scenarios/eye"
)

func TestTable(t *testing.T) {
	n := 8
	if s := os.Getenv("N"); s != "" {
		n, _ = strconv.Atoi(s)
	}
	for _, c := range Cases() {
		var base []float64
		for _, p := range Plans() {
			var sum eye.Outcome
			h := 0.0
			worse := 0
			sup := 0
			t0 := time.Now()
			for seed := 1; seed <= n; seed++ {
				e, err := Play(c, p, uint64(seed))
				if err != nil {
					t.Fatal(c.Name, p.Name, err)
				}
				o := e.Outcome()
				hh := o.Harm()
				h += hh
				if p.Name == "P0" {
					base = append(base, hh)
				} else if hh > base[seed-1] {
					worse++
				}
				sum.NewDialysisHours += o.NewDialysisHours
				sum.DialysisHours += o.DialysisHours
				sum.PeakLoadRatio += o.PeakLoadRatio
				sum.VitreousTotalUL += o.VitreousTotalUL
				sum.VitreousLeftUL += o.VitreousLeftUL
				sum.TractionMNS += o.TractionMNS
				sum.LowestDepthMM += o.LowestDepthMM
				sum.CDE += o.CDE
				sum.EndothelialLossPct += o.EndothelialLossPct
				sum.OffsetMM += o.OffsetMM
				sum.Wobble += o.Wobble
				sum.Seconds += o.Seconds
				sum.RentHazard += o.RentHazard
				if o.Supported {
					sup++
				}
			}
			f := float64(n)
			t.Logf("%s %s harm %.1f worse %d%% new %.2f tot %.2f peak %.2f vit %.1f/%.1f trac %.2f rentH %.0f%% depth %.2f cde %.2f endo %.1f off %.2f idx %.2f sup %d%% t %.0f  %v/run", c.Name, p.Name, h/f, worse*100/n, sum.NewDialysisHours/f, sum.DialysisHours/f, sum.PeakLoadRatio/f, sum.VitreousTotalUL/f, sum.VitreousLeftUL/f, sum.TractionMNS/f, 100*sum.RentHazard/f, sum.LowestDepthMM/f, sum.CDE/f, sum.EndothelialLossPct/f, sum.OffsetMM/f, sum.Wobble/f, sup*100/n, sum.Seconds/f, time.Since(t0)/time.Duration(n))
		}
	}
}
