// Package mixed fits models in which trainees differ by chance around what they share: linear
// ([Linear]), nonlinear ([Nonlinear]) and binary ([Binomial]) mixed-effects models with one
// grouping, the trainee.
//
// A trainee with few drills is drawn towards what trainees have in common, by just as much as the
// data warrant: that is what a mixed model is for. Variances are estimated by maximum likelihood or
// (linear) restricted maximum likelihood. Where the search does not settle the answer is an error,
// never the last number it had. Checked against R's lme4 and nlme; testdata/statistics/README.md
// has the sources.
package mixed

import (
	"errors"
	"fmt"
	"math"
)

// Why a fit can end without an answer.
var (
	// ErrWanders means that the search did not settle.
	ErrWanders = errors.New("the search for the variances did not settle; gather more data or let fewer things differ between trainees")
	// ErrAliased means that the fixed effects cannot be told apart.
	ErrAliased = errors.New("the fixed effects cannot be told apart: one does not vary, or is a combination of others")
	// ErrExact means that nothing is left to chance.
	ErrExact = errors.New("the data lie on the model to rounding, so there is no scatter to estimate")
)

// TooFew says that there is too little data for the model, and how much more it takes.
type TooFew struct {
	More int
	Of   string // "trainees", "drills" ...
}

// Error reads "not enough yet: 2 more trainees".
func (e *TooFew) Error() string { return fmt.Sprintf("not enough yet: %d more %s", e.More, e.Of) }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
