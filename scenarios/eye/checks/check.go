package checks

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/eye/policy"
)

// Verdict is what became of one row.
type Verdict struct {
	Row  Row
	OK   bool
	Got  string // what the model gives; empty when it gives nothing
	Why  string // when not OK: how far off, or why nothing came of it
	Note string // for a share of seeds: how many were run
}

// String is one line: what, got and expected.
func (v Verdict) String() string {
	got := v.Got
	if got == "" {
		got = "nothing"
	}
	unit := v.Row.Unit
	if unit != "" && unit != "-" {
		unit = " " + unit
	} else {
		unit = ""
	}
	return fmt.Sprintf("%s %s: got %s, expected %s%s (%s)", v.Row.ID, v.Row.Quantity, got, v.Row.Expected, unit, v.Why)
}

// Checker runs rows. It keeps the runs of plans that several rows need. The zero value runs
// all seeds a row names, on one core.
type Checker struct {
	MaxSeeds int // at most so many seeds of a row; 0 all
	Workers  int // plans played at a time
	harms    map[string][]float64
}

// Check runs one row.
func (c *Checker) Check(row Row) Verdict {
	v := Verdict{Row: row}
	var err error
	switch row.Area {
	case "D":
		v.Got = "it holds"
		if err = c.law(row); err == nil && !holds(row.Expected) {
			err = fmt.Errorf("a statement is expected to hold, to be equal or monotone, not %q", row.Expected)
		}
		if err != nil {
			v.Got = "it does not hold"
		}
	case "R":
		v.Got, v.Note, err = c.share(row)
	default:
		v.Got, err = eye.Probe(row.Area, row.Quantity, row.Inputs)
		if err == nil {
			err = compare(row, v.Got)
		}
	}
	v.OK = err == nil
	if err != nil {
		v.Why = err.Error()
	}
	return v
}

func holds(expected string) bool {
	word, _, _ := strings.Cut(expected, " ")
	return word == "equal" || word == "holds" || word == "monotone"
}

// compare says how far a number is off, or that a word differs. An expected value may be a
// bound, such as ">=80".
func compare(row Row, got string) error {
	x, err := strconv.ParseFloat(got, 64)
	if err != nil || strings.HasPrefix(row.Expected, "0x") {
		if strings.EqualFold(got, row.Expected) {
			return nil
		}
		return fmt.Errorf("it differs")
	}
	for _, sign := range []string{">=", "<=", ">", "<"} {
		if rest, ok := strings.CutPrefix(row.Expected, sign); ok {
			return bound(x, sign, rest)
		}
	}
	want, err := strconv.ParseFloat(row.Expected, 64)
	if err != nil || math.IsNaN(want) {
		return fmt.Errorf("the expected value is no number")
	}
	off, allowed := math.Abs(x-want), math.Max(row.AbsTol, row.RelTol*math.Abs(want))
	if !(off <= allowed) {
		return fmt.Errorf("off by %.3g, allowed %.3g", off, allowed)
	}
	return nil
}

func bound(x float64, sign, text string) error {
	limit, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	switch {
	case err != nil:
		return fmt.Errorf("the bound %q is no number", text)
	case sign == ">=" && x >= limit, sign == "<=" && x <= limit, sign == ">" && x > limit, sign == "<" && x < limit:
		return nil
	}
	return fmt.Errorf("it is not %s %g", sign, limit)
}

// share is the share of paired seeds in which one plan does more harm than another.
func (c *Checker) share(row Row) (got, note string, err error) {
	name, _ := row.Inputs["eye"].(string)
	plan, _ := row.Inputs["policy"].(string)
	base := "P0"
	if _, after, ok := strings.Cut(row.Quantity, "than under "); ok {
		base = strings.Fields(after + " ")[0]
	}
	if !strings.Contains(row.Quantity, "share of") || !strings.Contains(row.Quantity, "harm index higher under") {
		return "", "", fmt.Errorf("the quantity %q is not known", row.Quantity)
	}
	first, last, err := seeds(row.Inputs)
	if err != nil {
		return "", "", err
	}
	n := last - first + 1
	if c.MaxSeeds > 0 && n > c.MaxSeeds {
		n = c.MaxSeeds
	}
	a, err := c.played(name, plan, first, n)
	if err != nil {
		return "", "", err
	}
	b, err := c.played(name, base, first, n)
	if err != nil {
		return "", "", err
	}
	worse := 0
	for i := range a {
		if a[i] > b[i] {
			worse++
		}
	}
	got = strconv.FormatFloat(100*float64(worse)/float64(n), 'g', -1, 64)
	return got, fmt.Sprintf("%d seeds", n), compare(row, got)
}

func seeds(in eye.Inputs) (first, last int, err error) {
	text, _ := in["seeds"].(string)
	a, b, ok := strings.Cut(text, "..")
	if ok {
		first, err = strconv.Atoi(a)
		if err == nil {
			last, err = strconv.Atoi(b)
		}
	}
	if !ok || err != nil || first < 0 || last < first || last-first >= 100000 {
		return 0, 0, fmt.Errorf("the seeds are %q; write 1..200", text)
	}
	return first, last, nil
}

func (c *Checker) played(name, plan string, first, n int) ([]float64, error) {
	key := fmt.Sprintf("%s %s %d %d", name, plan, first, n)
	if h, ok := c.harms[key]; ok {
		return h, nil
	}
	cs, p, err := policy.Lookup(name, plan)
	if err != nil {
		return nil, err
	}
	runs, err := policy.Runs(cs, p, first, n, max(1, c.Workers), nil)
	if err != nil {
		return nil, err
	}
	h := make([]float64, n)
	for i, o := range runs {
		h[i] = o.Harm()
	}
	if c.harms == nil {
		c.harms = map[string][]float64{}
	}
	c.harms[key] = h
	return h, nil
}
