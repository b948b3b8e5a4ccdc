package main

import (
	"fmt"
	"strconv"
	"strings"

	"zonule/assessor/retain"
)

type statsRetention struct {
	statsFile
	statsLevel
	Floor float64 `help:"The chance of still meeting it that must be kept, 0 to 1." default:"0.8"`
}

// Run fits the retention curve and reads the refresher day off it.
func (c *statsRetention) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "retention"}
		who, err := d.text("trainee")
		if err != nil {
			return r, err
		}
		days, err := d.numbers("day")
		if err != nil {
			return r, err
		}
		met, err := d.truths("met")
		if err != nil {
			return r, err
		}
		at := map[string]int{}
		var trainees []retain.Trainee
		for i, w := range who {
			g, ok := at[w]
			if !ok {
				g = len(trainees)
				at[w] = g
				trainees = append(trainees, retain.Trainee{Name: w})
			}
			trainees[g].Drills = append(trainees[g].Drills, retain.Drill{Day: days[i], Met: met[i]})
		}
		k, err := retain.Fit(trainees)
		if err != nil {
			return r, err
		}
		refresh, err := k.Refresher(c.Floor, c.Level)
		if err != nil {
			return r, err
		}
		t := r.table("curve", "intercept", "error", "decay", "decay_error", "gaps", "kept", "trainees", "longest_gap")
		t.row(k.Intercept, k.InterceptError, k.Decay, k.DecayError, k.Gaps, k.Kept, k.Trainees, k.Longest)
		t = r.table("kept", "days", "chance", "low", "high")
		for _, e := range k.At(c.Level, 0, 7, 14, 30, 60, 90, 180, 365) {
			t.row(e.Days, e.Kept, e.Low, e.High)
		}
		t = r.table("refresher", "floor", "day", "low", "high")
		t.row(refresh.Floor, when(refresh.Reached, refresh.Days), when(refresh.LowKnown, refresh.Low), when(refresh.HighKnown, refresh.High))
		r.note("Refresher: %v.", refresh)
		r.note("Log odds of still meeting it = intercept - decay ln(1 + days); errors are between trainees.")
		return r, nil
	})
}

type statsClock struct {
	statsFile
	Today      float64  `help:"Today's day, counted as the data's are." required:""`
	Thresholds []string `help:"Days and what they are called, rising from 0." default:"0=current,60=refresh soon,120=refresh now" placeholder:"DAYS=WORD"`
}

// Run reads the clock.
func (c *statsClock) Run(sh *shell) error {
	return c.run(sh, func(d statsData) (statsResult, error) {
		r := statsResult{Method: "clock"}
		days, err := d.numbers("day")
		if err != nil {
			return r, err
		}
		var thresholds []retain.Threshold
		for _, s := range c.Thresholds {
			number, word, ok := strings.Cut(s, "=")
			v, err := strconv.ParseFloat(number, 64)
			if !ok || err != nil {
				return r, fmt.Errorf("the threshold %q is none: write 60=refresh soon", s)
			}
			thresholds = append(thresholds, retain.Threshold{Days: v, State: word})
		}
		k, err := retain.Clock(days, c.Today, thresholds)
		if err != nil {
			return r, err
		}
		t := r.table("clock", "practised", "days", "state", "next", "in_days")
		t.row(k.Practised, when(k.Practised, k.Days), k.State, when(k.Next != "", k.Next), when(k.Next != "", k.In))
		r.note("%s.", k)
		return r, nil
	})
}
