package eye

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// accepted is one way to write a unit: the value is multiplied by factor.
type accepted struct {
	name   string
	factor float64
}

// unitWords lists, for each unit an argument or measure may have, what a person may
// write. The first is the unit itself.
var unitWords = map[string][]accepted{
	"":       {{"", 1}, {"%", 0.01}},
	"cm":     {{"cm", 1}, {"cmH2O", 1}},
	"mL/min": {{"mL/min", 1}, {"ml/min", 1}, {"uL/s", 0.06}},
	"mmHg":   {{"mmHg", 1}, {"cmH2O", CmWater}, {"kPa", 1000 / 133.322}},
	"s":      {{"s", 1}, {"ms", 0.001}, {"min", 60}},
	"uL":     {{"uL", 1}, {"ul", 1}, {"µL", 1}, {"mm3", 1}, {"mL", 1000}},
	"mm":     {{"mm", 1}, {"um", 0.001}},
	"mN":     {{"mN", 1}},
	"mN.mm":  {{"mN.mm", 1}, {"mN mm", 1}},
	"1/min":  {{"1/min", 1}, {"/min", 1}, {"cuts/min", 1}},
	"h":      {{"h", 1}, {"clock hours", 1}},
	"deg":    {{"deg", 1}},
	"degC":   {{"degC", 1}},
	"mm2":    {{"mm2", 1}},
	"mN.s":   {{"mN.s", 1}},
}

// CmWater is the pressure of one centimetre of water in mmHg: 98.0665 Pa / 133.322 Pa.
const CmWater = 0.73556

// ParseQuantity reads a number with its unit as a person writes it, "88 cm", and
// returns it in the given unit. For the unit "" a bare number or a percentage is
// read: "45 %" gives 0.45. A wrong or missing unit, a number that is not finite or an
// unknown unit is an error that says what is accepted.
func ParseQuantity(text, unit string) (float64, error) {
	words, ok := unitWords[unit]
	if !ok {
		return 0, fmt.Errorf("no unit %q is known", unit)
	}
	s := strings.TrimSpace(text)
	end := numberEnd(s)
	x, err := strconv.ParseFloat(s[:end], 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q does not begin with a number; write for example %s", text, example(unit))
	}
	rest := strings.TrimSpace(s[end:])
	for _, w := range words {
		if rest == w.name {
			if w.name == "%" {
				return x / 100, nil
			}
			return x * w.factor, nil
		}
	}
	if rest == "" {
		return 0, fmt.Errorf("%q has no unit; write %s", text, accepts(words))
	}
	return 0, fmt.Errorf("%q has the unit %q; write %s", text, rest, accepts(words))
}

// numberEnd returns where the leading decimal number ends. Hexadecimal, underscores,
// "inf" and "nan" are not numbers a person writes at a bench.
func numberEnd(s string) int {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	digits := func() {
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
	}
	digits()
	if i < len(s) && s[i] == '.' {
		i++
		digits()
	}
	if j := i; i > 0 && i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		i++
		if i < len(s) && (s[i] == '+' || s[i] == '-') {
			i++
		}
		if i < len(s) && s[i] >= '0' && s[i] <= '9' {
			digits()
		} else {
			i = j
		}
	}
	return i
}

func example(unit string) string {
	if unit == "" {
		return "0.45 or 45 %"
	}
	return "12 " + unit
}

func accepts(words []accepted) string {
	names := make([]string, 0, len(words))
	for _, w := range words {
		switch w.name {
		case "":
			names = append(names, "the bare number")
		default:
			names = append(names, w.name)
		}
	}
	if len(names) == 1 {
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}
