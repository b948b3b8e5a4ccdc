package main

// statsCmd runs one statistic on a person's own data. Names are the field's own terms; what a method
// assumes stands with the function it calls, under assessor/.
type statsCmd struct {
	ICC        statsICC        `cmd:"" name:"icc" group:"Agreement" help:"Six intraclass correlations with F and intervals. Columns: target, then one for each rater."`
	Kappa      statsKappa      `cmd:"" group:"Agreement" help:"Kappa of two raters, unweighted or weighted. Columns: first, second (a category for each subject)."`
	Fleiss     statsFleiss     `cmd:"" group:"Agreement" help:"Kappa of several raters. Columns: subject, then one for each rater (a category)."`
	Alpha      statsAlpha      `cmd:"" group:"Agreement" help:"Krippendorff's alpha, with gaps. Columns: unit, then one for each rater (a number)."`
	GStudy     statsGStudy     `cmd:"" name:"gstudy" group:"Agreement" help:"Generalizability study: variance components with intervals. Columns: person, item, rater, score (item or rater as the design needs)."`
	DStudy     statsDStudy     `cmd:"" name:"dstudy" group:"Agreement" help:"Decision study: what numbers of items and raters would be worth, and how many a target needs. Columns as gstudy."`
	Rasch      statsRasch      `cmd:"" group:"Calibration" help:"Rasch calibration by conditional likelihood. Columns: person, then one for each item (0, 1 or empty)."`
	RSM        statsRSM        `cmd:"" name:"rsm" group:"Calibration" help:"Rating-scale calibration. Columns: person, then one for each item (0 to m or empty)."`
	PCM        statsPCM        `cmd:"" name:"pcm" group:"Calibration" help:"Partial-credit calibration. Columns: person, then one for each item (0 to m or empty)."`
	Facets     statsFacets     `cmd:"" group:"Calibration" help:"Items and raters on one scale. Columns: person, item, rater, score."`
	Curve      statsCurve      `cmd:"" group:"Learning curves" help:"One trainee's learning curve, and drills needed to a standard. Columns: x, y."`
	MixedCurve statsMixedCurve `cmd:"" name:"mixed-curve" group:"Learning curves" help:"A cohort's learning curve and each trainee on it. Columns: trainee, x, y."`
	Mixed      statsMixed      `cmd:"" group:"Learning curves" help:"Linear mixed model with intercept and slope by trainee. Columns: trainee, x, y."`
	MixedMet   statsMixedMet   `cmd:"" name:"mixed-met" group:"Learning curves" help:"Binary mixed model: the chance of meeting it along x, trainees differing. Columns: trainee, x, met."`
	LCCUSUM    statsLCCUSUM    `cmd:"" name:"lc-cusum" group:"Charts" help:"Learning-curve CUSUM over drills met or missed. Column: met."`
	Bernoulli  statsBernoulli  `cmd:"" name:"bernoulli-cusum" group:"Charts" help:"CUSUM against deterioration over drills met or missed. Column: met."`
	Risk       statsRiskCUSUM  `cmd:"" name:"risk-cusum" group:"Charts" help:"Risk-adjusted CUSUM and expected less observed. Columns: risk, failed."`
	CUSUM      statsCUSUM      `cmd:"" name:"cusum" group:"Charts" help:"CUSUM of a standardised measure. Column: x."`
	EWMA       statsEWMA       `cmd:"" name:"ewma" group:"Charts" help:"Exponentially weighted moving average of a standardised measure. Column: x."`
	CUSUMARL   statsCUSUMARL   `cmd:"" name:"cusum-arl" group:"Charts" help:"Mean run lengths of normal CUSUMs. Columns: k, h, headstart, sides, shift."`
	EWMAARL    statsEWMAARL    `cmd:"" name:"ewma-arl" group:"Charts" help:"Mean run lengths of EWMA charts. Columns: lambda, l, varying, shift."`
	Interval   statsInterval   `cmd:"" group:"Proportions and case mix" help:"Intervals of a proportion by six methods. Columns: events, n."`
	Difference statsDifference `cmd:"" group:"Proportions and case mix" help:"Interval of the difference of two rates. Columns: events1, n1, events2, n2."`
	Funnel     statsFunnel     `cmd:"" group:"Proportions and case mix" help:"Limits within which rates fall by chance. Columns: n, events."`
	OE         statsOE         `cmd:"" name:"observed-expected" group:"Proportions and case mix" help:"Observed failures against those expected. Columns: risk, failed."`
	Logistic   statsLogistic   `cmd:"" group:"Proportions and case mix" help:"Logistic regression with profile intervals and measures of quality. Columns: met, then one for each covariate."`
	RiskModel  statsRiskModel  `cmd:"" name:"risk" group:"Proportions and case mix" help:"Predicted risks from a coefficient file. Columns: the model's factors."`
	Angoff     statsAngoff     `cmd:"" group:"Standards" help:"Cut score by Angoff's method. Columns: judge, then one for each item (a chance, 0 to 1)."`
	Borderline statsBorderline `cmd:"" group:"Standards" help:"Cut score by borderline regression. Columns: grade, score."`
	Contrast   statsContrast   `cmd:"" name:"contrasting" group:"Standards" help:"Cut score between two judged groups. Columns: score, competent."`
	Hofstee    statsHofstee    `cmd:"" group:"Standards" help:"Cut score by Hofstee's compromise. Column: score."`
	Credit     statsCredit     `cmd:"" group:"Standards" help:"Partial credit from a panel's votes, with the panel's own scatter. Columns: choice, votes."`
	Retention  statsRetention  `cmd:"" group:"Retention" help:"What is kept between drills and the day to refresh. Columns: trainee, day, met."`
	Clock      statsClock      `cmd:"" group:"Retention" help:"How long ago the last practice was. Column: day."`
	Example    statsExample    `cmd:"" group:"Data" help:"Write invented data for a method, small or at benchmark size, as CSV."`
}

// statsFile is what every method takes: where the data are and how the answer is written.
type statsFile struct {
	File string `arg:"" help:"CSV with a header, or JSON (a list of objects, or one object of columns); - is standard input." placeholder:"FILE"`
	JSON bool   `name:"json" help:"Write JSON, with all digits."`
}

// statsLevel is the confidence level of intervals.
type statsLevel struct {
	Level float64 `help:"Confidence level of intervals." default:"0.95"`
}

// run reads the data, computes, and prints.
func (f statsFile) run(sh *shell, compute func(statsData) (statsResult, error)) error {
	data, err := readStats(sh, f.File)
	if err != nil {
		return err
	}
	r, err := compute(data)
	if err != nil {
		return err
	}
	if f.JSON {
		return r.json(sh.out)
	}
	return r.print(sh.out)
}
