// Package retain follows what is kept between drills: how the chance that a competency is still met
// falls with the days since it was last met, on which day a refresher is due, and how long ago a
// trainee last practised.
//
// [Fit] estimates a retention curve from the gaps between a programme's own drills; [Curve.Refresher]
// reads a day off it, with an interval; [Clock] needs no model at all. Days are numbers, counted from
// any day; nothing here asks what day it is. A refresher day is a reminder for people; it withdraws
// nothing by itself.
package retain

import (
	"fmt"
	"math"
)

// NotYet says that no retention curve can be told yet, and why. It carries no estimate.
type NotYet struct {
	More   int    // further gaps between drills after which to ask again, at least 1
	Reason string // what is missing
}

// Error reads "not enough yet: 12 more gaps; ...".
func (n *NotYet) Error() string {
	gaps := "gaps"
	if n.More == 1 {
		gaps = "gap"
	}
	return fmt.Sprintf("not enough yet: %d more %s; %s", n.More, gaps, n.Reason)
}

// Savings is Ebbinghaus's formula of 1885 for what is saved in relearning after some minutes, in per
// cent: b = 100 k / ((log10 t)^c + k), with k = 1.84 and c = 1.25 for his own nonsense syllables
// (Memory, 1913 translation, section 29). t counts from one minute before the end of learning. It is
// here as a check on the kind of curve, not as a forecast for surgeons. It is an error for t under 1
// minute, where the formula has no value, and for k or c not above 0.
func Savings(minutes, k, c float64) (float64, error) {
	switch {
	case !(minutes >= 1) || math.IsInf(minutes, 1):
		return 0, fmt.Errorf("the formula begins at 1 minute: it has no value at %g", minutes)
	case !(k > 0) || !(c > 0) || math.IsInf(k, 1) || math.IsInf(c, 1):
		return 0, fmt.Errorf("the constants k = %g and c = %g must be above 0", k, c)
	}
	return 100 * k / (math.Pow(math.Log10(minutes), c) + k), nil
}
