package script

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
)

// Variant is one set of circumstances. Every variant of a scenario gives the same names a value.
type Variant struct {
	Name   string
	About  string // what is different, hidden until the debrief
	Values []Value
}

// Value is a circumstance: fixed (one entry in OneOf), one of a list, or anything between two bounds.
type Value struct {
	Name     string
	OneOf    []Amount
	From, To *Amount
	Truth    bool // true or false rather than a number
}

// Amount is a number with its unit as the author wrote it; the unit may be empty.
type Amount struct {
	Number float64
	Unit   string
}

// String writes the amount as an author would.
func (a Amount) String() string {
	s := strconv.FormatFloat(a.Number, 'g', -1, 64)
	if a.Unit != "" {
		s += " " + a.Unit
	}
	return s
}

// In gives the amount in another unit; the error says what is accepted.
func (a Amount) In(unit string) (float64, error) { return eye.ParseQuantity(a.String(), unit) }

// Circumstances are the drawn values of one drill, by name.
type Circumstances map[string]Amount

// Draw gives the circumstances of a seed: the same seed and variant give the same, and the same seed gives
// neighbouring variants the same uniform draws.
func (v *Variant) Draw(seed uint64) Circumstances {
	values := slices.Clone(v.Values)
	slices.SortFunc(values, func(a, b Value) int { return strings.Compare(a.Name, b.Name) })
	s := NewStream(seed, "variant")
	out := Circumstances{}
	for _, val := range values {
		out[val.Name] = val.at(s.Uniform())
	}
	return out
}

// at picks the value for a uniform number between 0 and 1.
func (v Value) at(u float64) Amount {
	if v.From != nil {
		return Amount{v.From.Number + float64(u*(v.To.Number-v.From.Number)), v.From.Unit}
	}
	return v.OneOf[min(len(v.OneOf)-1, int(u*float64(len(v.OneOf))))]
}

// extremes are the amounts a check has to try: every one of a list, both ends of a range.
func (v Value) extremes() []Amount {
	if v.From != nil {
		return []Amount{*v.From, *v.To}
	}
	return v.OneOf
}

// DrawVariant names the variant that a seed chooses when nobody named one.
func (sc *Scenario) DrawVariant(seed uint64) string {
	s := NewStream(seed, "which variant")
	return sc.Variants[s.Below(len(sc.Variants))].Name
}

// Term is one argument of an action as written: an amount, a word, or the name of a circumstance with
// something added to it.
type Term struct {
	Amount        // a number; with Value, what is added to it
	Value  string // name of the circumstance, empty for a fixed amount
	Word   string
}

// String writes the term as an author would.
func (t Term) String() string {
	switch {
	case t.Word != "":
		return t.Word
	case t.Value == "":
		return t.Amount.String()
	case t.Number == 0:
		return t.Value
	case t.Number < 0:
		return t.Value + " - " + strconv.FormatFloat(-t.Number, 'g', -1, 64)
	}
	return t.Value + " + " + strconv.FormatFloat(t.Number, 'g', -1, 64)
}

// number gives the term in a unit; hours wrap round the clock and land in (0, 12].
func (t Term) number(unit string, hour, whole bool, c Circumstances) (float64, error) {
	a := t.Amount
	if t.Value != "" {
		base, ok := c[t.Value]
		if !ok {
			return 0, fmt.Errorf("no circumstance %q is drawn", t.Value)
		}
		a = Amount{base.Number + t.Number, base.Unit}
	}
	x, err := a.In(unit)
	if err != nil {
		return 0, err
	}
	if whole && t.Value != "" {
		x = math.Floor(x + 0.5)
	}
	if hour && t.Value != "" {
		x = onClock(x)
	}
	return x, nil
}

// onClock brings an hour into (0, 12].
func onClock(h float64) float64 {
	if h = math.Mod(h, 12); h <= 0 {
		h += 12
	}
	return h
}

// ParseSeconds reads a time such as "4 s".
func ParseSeconds(s string) (float64, error) { return eye.ParseQuantity(s, "s") }
