package eye

import "math"

// Outcome sums up a run for the debrief. Hours are clock hours.
type Outcome struct {
	NewDialysisHours, DialysisHours    float64 // broken since the counters started; in all
	PeakLoadRatio                      float64 // highest load on a zonule over its strength
	OffsetMM, TiltDeg, Wobble          float64 // of the bag at the end; 0 means nothing once support is lost
	Supported                          bool    // wobble under 2.6, offset under 0.45 mm, no rent
	SupportLost                        bool    // 9 clock hours were missing at some time
	VitreousCutUL, VitreousLeftUL      float64
	VitreousTotalUL, WoundStrand       float64
	TractionMNS, TractionHazard        float64 // dose and index 0..1
	Rent                               bool
	RentHazard                         float64 // 1 - exp(-H)
	LowestDepthMM, ShallowSeconds      float64 // seconds under 1.5 mm
	HighestIOP, LowestIOP, HardSeconds float64 // mmHg; seconds above 65
	CDE, EndothelialLossPct            float64
	BurnSeconds                        float64
	LensLeftUL                         float64
	Seconds                            float64
	IrisDamage, ChoroidBloodUL         float64 // dose; blood under the choroid
	MembraneFlap                       float64 // share of Descemet's membrane hanging free
	ImplantLost                        bool
}

// Harm is the harm index: a weighted sum for ordering runs, with chosen weights; no
// grade and no probability. A run is judged on named events, not on this number.
func (o Outcome) Harm() float64 {
	return 6*o.NewDialysisHours + 60*o.TractionHazard + 25*o.RentHazard +
		math.Min(20, o.VitreousLeftUL) + math.Min(20, o.ShallowSeconds) +
		0.2*o.EndothelialLossPct + math.Min(20, 4*math.Max(0, o.Wobble-1)) + 20*o.OffsetMM +
		0.2*math.Min(100, o.LensLeftUL) + o.beyond()
}

// beyond is what the parts beyond the ordinary eye add.
func (o Outcome) beyond() float64 {
	return math.Min(10, 3*o.IrisDamage) + math.Min(60, 0.2*o.ChoroidBloodUL) + 20*o.MembraneFlap + 15*bit(o.ImplantLost)
}
