// Package curve fits a learning curve to a trainee's drills: an exponential approach to a
// plateau,
//
//	y = A - B exp(-k x),
//
// where x counts drills (or cases), y is the measure followed, A the plateau, B the distance still
// to go at x = 0 and k the rate; with B < 0 the curve falls, as a time or an error does.
//
// [Fit] estimates all three by least squares ([FitFrom] two, when the value at x = 0 is known),
// with standard errors; [Curve.At] gives the curve with a confidence band. A curve through too few
// drills, through drills that have not begun to level off, or through drills that show no trend is
// not a curve: the answer is then a [NotYet] that says what is missing, and no number.
//
// [FitPower] does the same for a power law, [LeastSquares] fits any [Shape] as a statistician reads
// it, with profile intervals, and [FitCohort] fits all trainees together, so that one trainee's few
// drills can be read with what trainees have in common ([Cohort.Place]); it says how much of the
// answer is the trainee's own. [Curve.Needed] and [Placed.Needed] forecast the drills still needed to
// a standard, with an interval that may be open.
//
// Fits are by Levenberg-Marquardt with analytic derivatives, started from the best of a grid of
// rates (for a given rate the other parameters are a linear problem). Checked against the
// certified NIST values and against R; testdata/statistics/README.md has the sources.
package curve
