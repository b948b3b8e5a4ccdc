package standard

import (
	"errors"
	"fmt"
	"sort"
)

// Acceptable is what the judges would accept at least and at most: cut scores, and shares of
// trainees under the cut (0..1).
type Acceptable struct{ LowestCut, HighestCut, LowestShare, HighestShare float64 }

// HofsteeCut is a cut score by Hofstee's compromise.
type HofsteeCut struct {
	N     int
	Cut   float64
	Share float64 // the line's share at the cut
	Below float64 // share of these trainees strictly under the cut
}

// ErrNoCrossing means that the judges' line does not meet the scores within what they accept: no
// cut follows, and people must decide.
var ErrNoCrossing = errors.New("the share under the cut never meets what the judges accept, so this method gives no cut: the judges must decide, by changing what they accept or the method")

// Hofstee finds where the share of trainees strictly under a cut, as a function of the cut, meets
// the line from (lowest cut, highest share) to (highest cut, lowest share); when the share jumps
// over the line at a score, the cut is that score (Hofstee 1983; the judges' four numbers are
// usually the means or medians of what each wrote down).
//
// Errors: a *TooFew without scores; scores that are not finite; numbers that make no line;
// [ErrNoCrossing].
func Hofstee(scores []float64, a Acceptable) (HofsteeCut, error) {
	if len(scores) == 0 {
		return HofsteeCut{}, &TooFew{1, "trainees"}
	}
	if err := checkScores(scores); err != nil {
		return HofsteeCut{}, err
	}
	if !(a.LowestCut < a.HighestCut && a.LowestCut >= -largest && a.HighestCut <= largest) {
		return HofsteeCut{}, fmt.Errorf("cut scores from %g to %g make no line: the highest must be above the lowest", a.LowestCut, a.HighestCut)
	}
	if !(a.LowestShare >= 0 && a.LowestShare < a.HighestShare && a.HighestShare <= 1) {
		return HofsteeCut{}, fmt.Errorf("shares from %g to %g make no line: give shares of 0 to 1, the highest above the lowest", a.LowestShare, a.HighestShare)
	}
	slope := (a.LowestShare - a.HighestShare) / (a.HighestCut - a.LowestCut)
	line := func(cut float64) float64 { return a.HighestShare + slope*(cut-a.LowestCut) }
	if below(scores, a.LowestCut) > line(a.LowestCut) {
		return HofsteeCut{}, ErrNoCrossing
	}
	sorted := append([]float64(nil), scores...)
	sort.Float64s(sorted)
	n := float64(len(sorted))
	at := a.LowestCut // the line is above the share up to here
	for i := 0; i < len(sorted); {
		s, under := sorted[i], float64(i)/n
		if s >= a.LowestCut {
			end := min(s, a.HighestCut)
			if line(end) <= under { // the line falls to the level of the step before its end
				cut := a.LowestCut + (under-a.HighestShare)/slope
				return found(scores, max(at, cut), line), nil
			}
			if s > a.HighestCut {
				return HofsteeCut{}, ErrNoCrossing
			}
		}
		for i < len(sorted) && sorted[i] == s {
			i++
		}
		if s >= a.LowestCut && float64(i)/n > line(s) { // the step jumps over the line
			return found(scores, s, line), nil
		}
		at = max(at, s)
	}
	return HofsteeCut{}, ErrNoCrossing
}

func found(scores []float64, cut float64, line func(float64) float64) HofsteeCut {
	return HofsteeCut{N: len(scores), Cut: cut, Share: line(cut), Below: below(scores, cut)}
}
