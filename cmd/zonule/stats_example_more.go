package main

import (
	"fmt"
	"math"
	"strconv"

	"zonule/assessor/simulate"
)

// Invented data for charts, proportions, standards and retention.

func logOdds(p float64) float64 { return math.Log(p / (1 - p)) }

func oddsOf(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }

func exampleMixedMet(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"trainee", "x", "met"}}
	chance := simulate.NewChance(seed, "mixed-met")
	for t := range pick(big, 15, 200) {
		own := -1 + .6*chance.Normal()
		for x := range pick(big, 20, 60) {
			at := math.Log(float64(x + 1))
			d.rows = append(d.rows, []string{fmt.Sprintf("T%04d", t+1), number(at, 6), yes(chance.Met(oddsOf(own + .8*at)))})
		}
	}
	return d
}

// exampleMixed is the logarithm of a time that falls with the logarithm of the count.
func exampleMixed(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"trainee", "x", "y"}}
	chance := simulate.NewChance(seed, "mixed")
	for t := range pick(big, 15, 200) {
		level, slope := 3.4+.3*chance.Normal(), -.25+.08*chance.Normal()
		for x := range 10 + chance.Below(pick(big, 20, 50)) {
			at := math.Log(float64(x + 1))
			d.rows = append(d.rows, []string{fmt.Sprintf("T%04d", t+1), number(at, 6), number(level+slope*at+.2*chance.Normal(), 4)})
		}
	}
	return d
}

// exampleMet is a series whose failure rate moves from one value to another.
func exampleMet(big bool, seed uint64, from, to float64) statsData {
	d := statsData{columns: []string{"met"}}
	n := pick(big, 40, 5000)
	for _, failed := range simulate.Failures(n, func(i int) float64 { return to + (from-to)*math.Exp(-8*float64(i)/float64(n)) }, seed) {
		d.rows = append(d.rows, []string{yes(!failed)})
	}
	return d
}

func exampleCases(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"risk", "failed"}}
	risks, failed := simulate.Cases{N: pick(big, 120, 20_000), Risk: simulate.Spread{Mean: -3.2, Deviation: .8}, Odds: 1.6}.Draw(seed)
	for i, r := range risks {
		d.rows = append(d.rows, []string{number(r, 5), yes(failed[i])})
	}
	return d
}

func exampleMeasure(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"x"}}
	chance := simulate.NewChance(seed, "measure")
	n := pick(big, 40, 20_000)
	for i := range n {
		shift := 0.0
		if i > n/2 {
			shift = 1
		}
		d.rows = append(d.rows, []string{number(shift+chance.Normal(), 3)})
	}
	return d
}

func exampleCUSUMARL(bool, uint64) statsData {
	d := statsData{columns: []string{"k", "h", "headstart", "sides", "shift"}}
	for _, h := range []string{"4", "5"} {
		for _, shift := range []string{"0", "0.5", "1", "2"} {
			d.rows = append(d.rows, []string{"0.5", h, "0", "2", shift})
		}
	}
	return d
}

func exampleEWMAARL(bool, uint64) statsData {
	d := statsData{columns: []string{"lambda", "l", "varying", "shift"}}
	for _, pair := range [][2]string{{"0.1", "2.814"}, {"0.2", "2.962"}} {
		for _, shift := range []string{"0", "0.5", "1"} {
			d.rows = append(d.rows, []string{pair[0], pair[1], "0", shift}, []string{pair[0], pair[1], "1", shift})
		}
	}
	return d
}

func exampleInterval(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"events", "n"}}
	chance := simulate.NewChance(seed, "interval")
	for range pick(big, 6, 5000) {
		n := 10 + chance.Below(190)
		d.rows = append(d.rows, []string{strconv.Itoa(chance.Below(n/5 + 1)), strconv.Itoa(n)})
	}
	return d
}

func exampleDifference(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"events1", "n1", "events2", "n2"}}
	chance := simulate.NewChance(seed, "difference")
	for range pick(big, 5, 5000) {
		n, m := 20+chance.Below(100), 20+chance.Below(100)
		d.rows = append(d.rows, []string{strconv.Itoa(chance.Below(n / 3)), strconv.Itoa(n), strconv.Itoa(chance.Below(m / 3)), strconv.Itoa(m)})
	}
	return d
}

func exampleFunnel(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"n", "events"}}
	chance := simulate.NewChance(seed, "funnel")
	for range pick(big, 12, 500) {
		n, events := 50+chance.Below(400), 0
		for range n {
			if chance.Met(.03) {
				events++
			}
		}
		d.rows = append(d.rows, []string{strconv.Itoa(n), strconv.Itoa(events)})
	}
	return d
}

func exampleLogistic(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"met", "age", "hard", "grade"}}
	chance := simulate.NewChance(seed, "logistic")
	for range pick(big, 120, 20_000) {
		age, hard, grade := math.Round(70+9*chance.Normal()), chance.Met(.25), float64(1+chance.Below(5))
		eta := 2 - .02*(age-70) - .6*(grade-3)
		if hard {
			eta -= .9
		}
		d.rows = append(d.rows, []string{yes(chance.Met(oddsOf(eta))), number(age, 0), yes(hard), number(grade, 0)})
	}
	return d
}

func exampleRisk(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"male", "age", "pupil", "glaucoma", "surgeon"}}
	chance := simulate.NewChance(seed, "risk")
	ages, pupils, surgeons := []string{"under-60", "60-69", "70-79", "80-89", "90-up"}, []string{"large", "medium", "small"}, []string{"consultant", "fellow", "registrar"}
	for range pick(big, 8, 20_000) {
		d.rows = append(d.rows, []string{yes(chance.Met(.45)), ages[chance.Below(5)], pupils[chance.Below(3)], yes(chance.Met(.1)), surgeons[chance.Below(3)]})
	}
	return d
}

func exampleAngoff(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"judge"}}
	chance := simulate.NewChance(seed, "angoff")
	items := pick(big, 10, 200)
	ease := make([]float64, items)
	for i := range ease {
		d.columns = append(d.columns, fmt.Sprintf("item%d", i+1))
		ease[i] = logOdds(.65) + .7*chance.Normal()
	}
	for j := range pick(big, 8, 40) {
		own, row := .3*chance.Normal(), []string{fmt.Sprintf("J%02d", j+1)}
		for i := range ease {
			row = append(row, number(math.Round(20*oddsOf(ease[i]+own+.3*chance.Normal()))/20, 2))
		}
		d.rows = append(d.rows, row)
	}
	return d
}

func exampleBorderline(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"grade", "score"}}
	g, s := simulate.Station{Trainees: pick(big, 50, 10_000), Intercept: 25, Slope: 11, Scatter: 6}.Draw(seed)
	for i := range g {
		d.rows = append(d.rows, []string{number(g[i], 0), number(s[i], 1)})
	}
	return d
}

func exampleContrasting(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"score", "competent"}}
	chance := simulate.NewChance(seed, "contrasting")
	for range pick(big, 60, 10_000) {
		score := 60 + 10*chance.Normal()
		d.rows = append(d.rows, []string{number(score, 1), yes(chance.Met(oddsOf(.25 * (score - 58))))})
	}
	return d
}

func exampleHofstee(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"score"}}
	chance := simulate.NewChance(seed, "hofstee")
	for range pick(big, 60, 10_000) {
		d.rows = append(d.rows, []string{number(math.Round(66+11*chance.Normal()), 0)})
	}
	return d
}

func exampleCredit(bool, uint64) statsData {
	return statsData{columns: []string{"choice", "votes"}, rows: [][]string{{"hold", "7"}, {"fill-and-leave", "4"}, {"leave", "1"}, {"rotate", "0"}}}
}

func exampleRetention(big bool, seed uint64) statsData {
	d := statsData{columns: []string{"trainee", "day", "met"}}
	for _, t := range (simulate.Forgetting{Trainees: pick(big, 15, 500), Drills: pick(big, 12, 40), Intercept: 4, Decay: .9, LongestGap: 300}).Draw(seed) {
		for _, drill := range t.Drills {
			d.rows = append(d.rows, []string{t.Name, number(drill.Day, 0), yes(drill.Met)})
		}
	}
	return d
}

func exampleClock(bool, uint64) statsData {
	return statsData{columns: []string{"day"}, rows: [][]string{{"3"}, {"41"}, {"88"}}}
}
