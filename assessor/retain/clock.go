package retain

import (
	"fmt"
	"math"
	"strings"
)

// Threshold says what a number of days since the last practice is called.
type Threshold struct {
	Days  float64 // from so many days on
	State string
}

// DefaultThresholds are a place to start from, common practice without a source: a programme sets
// its own and says why.
func DefaultThresholds() []Threshold {
	return []Threshold{{0, "current"}, {60, "refresh soon"}, {120, "refresh now"}}
}

// Reading is what the clock shows.
type Reading struct {
	Practised bool    // there is a day of practice
	Days      float64 // since the last one
	State     string
	Next      string  // the state that comes next; empty when none does
	In        float64 // days until it comes
}

// Clock reads the days since the last practice against thresholds in rising order, the first from 0.
// Days of practice after today are an error, as are days that are not finite and thresholds out of
// order or without a word.
func Clock(practised []float64, today float64, thresholds []Threshold) (Reading, error) {
	if err := checkThresholds(thresholds); err != nil {
		return Reading{}, err
	}
	if math.IsNaN(today) || math.IsInf(today, 0) {
		return Reading{}, fmt.Errorf("today, %g, is not a number of days", today)
	}
	r := Reading{Days: math.Inf(1)}
	for i, d := range practised {
		if !(d <= today) || math.IsInf(d, -1) {
			return Reading{}, fmt.Errorf("practice %d is on day %g, which is not on or before today, day %g", i+1, d, today)
		}
		r.Practised, r.Days = true, math.Min(r.Days, today-d)
	}
	if !r.Practised {
		return Reading{State: "never practised"}, nil
	}
	for i, t := range thresholds {
		if r.Days >= t.Days {
			r.State, r.Next, r.In = t.State, "", 0
			if i+1 < len(thresholds) {
				r.Next, r.In = thresholds[i+1].State, thresholds[i+1].Days-r.Days
			}
		}
	}
	return r, nil
}

func checkThresholds(thresholds []Threshold) error {
	if len(thresholds) == 0 || thresholds[0].Days != 0 {
		return fmt.Errorf("thresholds begin at 0 days: say what a trainee is called who practised today")
	}
	for i, t := range thresholds {
		if strings.TrimSpace(t.State) == "" {
			return fmt.Errorf("the threshold at %g days has no word", t.Days)
		}
		if i > 0 && !(t.Days > thresholds[i-1].Days) || math.IsInf(t.Days, 1) {
			return fmt.Errorf("the threshold at %g days is out of order: thresholds rise", t.Days)
		}
	}
	return nil
}

// String says the reading in a sentence.
func (r Reading) String() string {
	if !r.Practised {
		return r.State
	}
	s := fmt.Sprintf("last practised %.0f days ago: %s", r.Days, r.State)
	if r.Next != "" {
		s += fmt.Sprintf("; in %.0f days: %s", r.In, r.Next)
	}
	return s
}
