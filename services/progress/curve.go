package progress

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"

	"zonule/assessor/casemix"
	"zonule/assessor/curve"
	"zonule/assessor/rubric"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/ledger"
)

// GetCurve gives one trainee's series in one competency and what can be said of it.
func (s *Server) GetCurve(ctx context.Context, req *progressv1.GetCurveRequest) (*progressv1.GetCurveResponse, error) {
	if _, err := s.roster.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: req.GetPersonId(), AtLeast: req.GetAtLeast()}); err != nil {
		return nil, fault.From(err)
	}
	var points []*progressv1.Point
	err := s.ledger.Read(ctx, req.GetAtLeast(), func(r ledger.Reader) error {
		points = nil
		return r.Scan(viewName, pointSpace(req.GetPersonId(), req.GetCriterion()), "", 0, func(_ string, value []byte) error {
			p := &progressv1.Point{}
			points = append(points, p)
			return proto.Unmarshal(value, p)
		})
	})
	if err != nil {
		return nil, err
	}
	resp := &progressv1.GetCurveResponse{
		PersonId: req.GetPersonId(), Criterion: req.GetCriterion(), StandardLevel: int32(s.settings.StandardLevel),
		Points: points, Fit: fitOf(points, s.settings.Confidence), Chart: s.chartOf(points),
	}
	if d := rubric.TheStandard().Criterion(req.GetCriterion()); d != nil {
		resp.Title = d.Name
	}
	resp.Interval, err = intervalOf(points, s.settings.Confidence)
	return resp, err
}

// intervalOf says within what limits the share of drills that meet the standard may lie; nil without a drill.
func intervalOf(points []*progressv1.Point, confidence float64) (*progressv1.Interval, error) {
	if len(points) == 0 {
		return nil, nil
	}
	met := 0
	for _, p := range points {
		if p.GetMeets() {
			met++
		}
	}
	exact, err := casemix.Exact(met, len(points), confidence)
	if err != nil {
		return nil, err
	}
	wilson, err := casemix.Wilson(met, len(points), confidence)
	if err != nil {
		return nil, err
	}
	return &progressv1.Interval{
		Met: uint32(met), Of: uint32(len(points)), Confidence: confidence,
		ExactLow: exact.Low, ExactHigh: exact.High, WilsonLow: wilson.Low, WilsonHigh: wilson.High,
	}, nil
}

// mostBand bounds how many drills of a long series the band is drawn at.
const mostBand = 60

// fitOf fits a learning curve, or says why there is none.
func fitOf(points []*progressv1.Point, confidence float64) *progressv1.Fit {
	drills := make([]curve.Point, len(points))
	for i, p := range points {
		drills[i] = curve.Point{X: float64(i), Y: float64(p.GetLevel())}
	}
	c, err := curve.Fit(drills)
	var notYet *curve.NotYet
	switch {
	case errors.As(err, &notYet):
		return &progressv1.Fit{NotYet: notYet.Error()}
	case err != nil:
		return &progressv1.Fit{NotYet: "no curve could be fitted: " + err.Error()}
	}
	fit := &progressv1.Fit{
		Plateau: c.Plateau, PlateauSe: c.PlateauError, Gap: c.Gap, GapSe: c.GapError, Rate: c.Rate, RateSe: c.RateError,
		ResidualSd: c.Sigma, Confidence: confidence,
	}
	for _, e := range c.At(confidence, bandAt(len(points))...) {
		fit.Band = append(fit.Band, &progressv1.Band{Number: e.X + 1, Level: e.Y, Low: e.Low, High: e.High})
	}
	return fit
}

// bandAt chooses the drills at which the band is given, the first and the last among them, as the curve counts them.
func bandAt(drills int) []float64 {
	if drills <= mostBand {
		xs := make([]float64, drills)
		for i := range xs {
			xs[i] = float64(i)
		}
		return xs
	}
	xs := make([]float64, mostBand)
	for i := range xs {
		xs[i] = float64(drills-1) * float64(i) / (mostBand - 1)
	}
	return xs
}

// chartOf draws the chart over the series.
func (s *Server) chartOf(points []*progressv1.Point) *progressv1.Chart {
	missed := make([]bool, len(points))
	for i, p := range points {
		missed[i] = !p.GetMeets()
	}
	path := s.chart.Follow(missed)
	return &progressv1.Chart{
		AdequateRate: s.chart.Adequate, InadequateRate: s.chart.Inadequate, Limit: s.chart.H, Horizon: uint32(s.chart.Drills),
		FalseSignal: s.chart.FalseSignal, TrueSignal: s.chart.TrueSignal, Path: path.Scores, SignalAt: uint32(path.Signal),
	}
}
