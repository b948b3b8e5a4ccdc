package dashboard

import (
	"fmt"
	"html/template"

	progressv1 "zonule/proto/gen/zonule/progress/v1"
	"zonule/services/dashboard/chart"
)

// picture is a chart in the two sizes a page carries.
type picture struct{ Wide, Narrow template.HTML }

type drawer interface {
	SVG(chart.Size) ([]byte, error)
}

// draw makes both sizes. The chart package escapes every text it is given, so its output is HTML.
func draw(d drawer) (picture, error) {
	wide, err := d.SVG(chart.Wide)
	if err != nil {
		return picture{}, err
	}
	narrow, err := d.SVG(chart.Narrow)
	if err != nil {
		return picture{}, err
	}
	return picture{template.HTML(wide), template.HTML(narrow)}, nil
}

// curveView is one competency of one trainee: the series, what can be said of it, and its two charts.
type curveView struct {
	competency
	Standard int32
	Points   []pointRow
	Interval []string
	Fit      []string
	Chart    []string
	Curve    picture
	Cusum    picture
	HasFit   bool
	HasChart bool
}

// pointRow is one assessed drill as both charts' tables show it.
type pointRow struct {
	Number   uint32
	Href     string
	Shown    string
	At       moment
	Level    int32
	Meets    bool
	Critical []string
	Fitted   string // level and limits of the fit; empty where there is none
	Score    string // of the CUSUM; empty where there is none
	Key      string
	Words    string
}

func curveOf(c *progressv1.GetCurveResponse, name string) (curveView, error) {
	out := curveView{Standard: c.GetStandardLevel(), HasFit: len(c.GetFit().GetBand()) > 1, HasChart: c.GetChart().GetLimit() > 0}
	for _, one := range competencies {
		if one.ID == c.GetCriterion() {
			out.competency = one
		}
	}
	if c.GetTitle() != "" {
		out.Title = capital(c.GetTitle())
	}
	fitted := map[uint32]string{}
	for _, b := range c.GetFit().GetBand() {
		if n := uint32(b.GetNumber()); float64(n) == b.GetNumber() {
			fitted[n] = fmt.Sprintf("%s (%s to %s)", numeral(b.GetLevel(), 2), numeral(b.GetLow(), 2), numeral(b.GetHigh(), 2))
		}
	}
	for i, pt := range c.GetPoints() {
		row := pointRow{
			Number: pt.GetNumber(), Href: drillAddress(pt.GetDrillId()), Shown: plain(pt.GetScenarioId()), At: momentOf(pt.GetAt()),
			Level: pt.GetLevel(), Meets: pt.GetMeets(), Fitted: fitted[pt.GetNumber()], Key: key("point", pt.GetDrillId(), c.GetCriterion()),
		}
		if pt.GetVariant() != "" {
			row.Shown += ", " + plain(pt.GetVariant())
		}
		for _, id := range pt.GetCriticalErrors() {
			row.Critical = append(row.Critical, plain(id))
		}
		if path := c.GetChart().GetPath(); i < len(path) {
			row.Score = numeral(path[i], 2)
		}
		row.Words = fmt.Sprintf("Drill %d: level %d, %s", row.Number, row.Level, meetsWords(pt))
		out.Points = append(out.Points, row)
	}
	out.Interval, out.Fit, out.Chart = intervalWords(c.GetInterval()), fitWords(c.GetFit()), chartWords(c.GetChart())
	if len(out.Points) == 0 {
		return out, nil
	}
	return out, out.pictures(c, name)
}

func meetsWords(p *progressv1.Point) string {
	switch {
	case len(p.GetCriticalErrors()) > 0:
		return "capped by a critical error"
	case p.GetMeets():
		return "meets the standard"
	}
	return "below the standard"
}

func (v *curveView) pictures(c *progressv1.GetCurveResponse, name string) error {
	curve := chart.Curve{
		Title:    fmt.Sprintf("Learning curve of %s in %s, %s", name, v.ID, v.Title),
		Standard: float64(v.Standard),
		Desc: fmt.Sprintf("Level in each of %s that showed it. The standard is level %d; %s met it. The table beside it holds the same numbers.",
			count(uint32(len(v.Points)), "drill", "drills"), v.Standard, decimal(c.GetInterval().GetMet())),
	}
	cusum := chart.Cusum{
		Title:  fmt.Sprintf("Learning-curve CUSUM of %s in %s, %s", name, v.ID, v.Title),
		Desc:   fmt.Sprintf("Score after each drill against the limit of %s. %s", numeral(c.GetChart().GetLimit(), 2), signalWords(c.GetChart())),
		Scores: c.GetChart().GetPath(), Limit: c.GetChart().GetLimit(), Signal: int(c.GetChart().GetSignalAt()),
	}
	for i, p := range c.GetPoints() {
		shape := chart.Ring
		if len(p.GetCriticalErrors()) > 0 {
			shape = chart.Diamond
		} else if p.GetMeets() {
			shape = chart.Disc
		}
		curve.Points = append(curve.Points, chart.Point{Number: int(p.GetNumber()), Level: float64(p.GetLevel()), Shape: shape, Key: v.Points[i].Key, Words: v.Points[i].Words})
		cusum.Shapes = append(cusum.Shapes, shape)
		cusum.Keys = append(cusum.Keys, key("score", p.GetDrillId(), v.ID))
	}
	for _, b := range c.GetFit().GetBand() {
		curve.Band = append(curve.Band, chart.Band{Number: b.GetNumber(), Level: b.GetLevel(), Low: b.GetLow(), High: b.GetHigh()})
	}
	var err error
	if v.Curve, err = draw(curve); err != nil || !v.HasChart {
		return err
	}
	v.Cusum, err = draw(cusum)
	return err
}
