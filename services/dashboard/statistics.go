package dashboard

import (
	"fmt"

	progressv1 "zonule/proto/gen/zonule/progress/v1"
)

// intervalWords says how often the standard was met, and how far that can be trusted.
func intervalWords(i *progressv1.Interval) []string {
	if i.GetOf() == 0 {
		return nil
	}
	drills := count(i.GetOf(), "drill", "drills")
	return []string{
		fmt.Sprintf("Met the standard in %d of %s (%s).", i.GetMet(), drills, percent(float64(i.GetMet())/float64(i.GetOf()))),
		fmt.Sprintf("With %s confidence the share over many such drills lies between %s and %s by the exact (Clopper-Pearson) limits, and between %s and %s by the Wilson limits.",
			percent(i.GetConfidence()), percent(i.GetExactLow()), percent(i.GetExactHigh()), percent(i.GetWilsonLow()), percent(i.GetWilsonHigh())),
		"The limits treat the drills as independent and the trainee as unchanging. Someone who is still learning is neither, so read them together with the curve.",
	}
}

// fitWords says what the fitted curve says, or why there is none.
func fitWords(f *progressv1.Fit) []string {
	if f == nil {
		return []string{"No curve is fitted."}
	}
	if f.GetNotYet() != "" {
		return []string{"No curve is fitted: " + stop(f.GetNotYet())}
	}
	return []string{
		fmt.Sprintf("The fitted curve begins at level %s and approaches level %s.", numeral(f.GetPlateau()-f.GetGap(), 2), plusMinus(f.GetPlateau(), f.GetPlateauSe())),
		fmt.Sprintf("The distance to that plateau shrinks at a rate of %s per drill; single drills scatter around the curve by %s levels (standard deviation).",
			plusMinus(f.GetRate(), f.GetRateSe()), numeral(f.GetResidualSd(), 2)),
		fmt.Sprintf("The shaded ribbon is the %s confidence band of the fitted mean, not of a single drill. The curve describes the drills so far; beyond them it is a guess.", percent(f.GetConfidence())),
	}
}

// chartWords says what the CUSUM is and how far its signal can be trusted.
func chartWords(c *progressv1.Chart) []string {
	if c.GetLimit() <= 0 {
		return []string{"No chart is drawn yet."}
	}
	return []string{
		"The score starts at 0, rises with each drill that meets the standard, falls with each that does not, and never goes below 0. It begins from the belief that the trainee is not yet adequate; reaching the limit speaks against that belief.",
		fmt.Sprintf("Limit %s, for a failure rate of %s called adequate and %s called inadequate.",
			numeral(c.GetLimit(), 2), exactPercent(c.GetAdequateRate()), exactPercent(c.GetInadequateRate())),
		fmt.Sprintf("Within %s, someone who fails at the inadequate rate would still reach the limit with a probability of %s; someone at the adequate rate with %s.",
			count(c.GetHorizon(), "drill", "drills"), percent(c.GetFalseSignal()), percent(c.GetTrueSignal())),
		signalWords(c) + " A signal is something to weigh, not a decision.",
	}
}

func signalWords(c *progressv1.Chart) string {
	if c.GetSignalAt() > 0 {
		return fmt.Sprintf("The score first reached the limit at drill %d.", c.GetSignalAt())
	}
	return "The score has not reached the limit."
}
