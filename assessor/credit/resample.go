package credit

import (
	"fmt"
	"math"
	"sort"

	"zonule/scenarios/script"
)

// Spread is the credit of one choice and how far another panel of the same size might have put it.
type Spread struct {
	ID     string
	Credit float64
	Error  float64 // standard deviation over resampled panels
	Low    float64 // 95 % of resampled panels lie between Low and High
	High   float64
}

// mostPanels bounds the number of resampled panels.
const mostPanels = 100_000

// Resample gives, for each choice in the panel's order, its credit and its scatter over panels of
// the same size drawn with replacement from the members' votes (Efron 1979; seeded, so the same
// panel and seed give the same numbers). It says how much of a credit is the luck of who sat on
// the panel: with ten members it is much. A choice that got no vote has no scatter here, though
// another panel might have voted for it.
//
// Errors: those of [Panel.Check]; a number of panels outside 100 to 100,000; a panel of one
// member, whose scatter cannot be known.
func (p Panel) Resample(panels int, seed uint64) ([]Spread, error) {
	credits, err := p.Credits()
	if err != nil {
		return nil, err
	}
	if panels < 100 || panels > mostPanels {
		return nil, fmt.Errorf("%d resampled panels are out of 100..%d", panels, mostPanels)
	}
	var ballots []int
	for i, c := range p {
		for range c.Votes {
			ballots = append(ballots, i)
		}
	}
	if len(ballots) < 2 {
		return nil, fmt.Errorf("not enough yet: 1 more member; the scatter of a panel of one cannot be known")
	}
	chance := script.NewStream(seed, "panel")
	drawn := make([][]float64, len(p))
	votes := make([]int, len(p))
	for range panels {
		clear(votes)
		most := 0
		for range ballots {
			i := ballots[chance.Below(len(ballots))]
			votes[i]++
			most = max(most, votes[i])
		}
		for i, v := range votes {
			drawn[i] = append(drawn[i], float64(v)/float64(most))
		}
	}
	out := make([]Spread, len(p))
	for i, c := range p {
		mean, around := 0.0, 0.0
		for _, v := range drawn[i] {
			mean += v
		}
		mean /= float64(panels)
		for _, v := range drawn[i] {
			around += (v - mean) * (v - mean)
		}
		sort.Float64s(drawn[i])
		tail := panels / 40
		out[i] = Spread{c.ID, credits[i], math.Sqrt(around / float64(panels-1)), drawn[i][tail], drawn[i][panels-1-tail]}
	}
	return out, nil
}
