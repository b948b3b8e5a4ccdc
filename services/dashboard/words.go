package dashboard

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/types/known/timestamppb"
	"zonule/services/dashboard/measure"
)

// moment is a time for a reader and for a machine; empty when there is none.
type moment struct{ Day, Minute, ISO string }

func momentOf(t *timestamppb.Timestamp) moment {
	if t == nil || !t.IsValid() {
		return moment{}
	}
	u := t.AsTime().UTC()
	return moment{u.Format("2 Jan 2006"), u.Format("2 Jan 2006, 15:04 UTC"), u.Format(time.RFC3339)}
}

// count puts a number before its noun.
func count(n uint32, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return decimal(n) + " " + many
}

// numeral writes a number with so many decimals, a true minus sign and no minus zero.
func numeral(v float64, decimals int) string { return measure.Numeral(v, decimals) }

// nb keeps a number and its unit on one line.
const nb = "\u00a0"

func seconds(v float64) string { return numeral(v, 1) + nb + "s" }

// percent words a share or a probability, and does not round anything possible to 0 or 100.
func percent(share float64) string {
	switch {
	case share > 0 && share < 0.005:
		return "less than 1" + nb + "%"
	case share < 1 && share > 0.995:
		return "more than 99" + nb + "%"
	}
	return numeral(100*share, 0) + nb + "%"
}

// exactPercent words a rate that somebody chose, such as 2.5 %.
func exactPercent(share float64) string {
	return strconv.FormatFloat(math.Round(share*1000)/10, 'f', -1, 64) + nb + "%"
}

// plusMinus writes an estimate with its standard error.
func plusMinus(v, se float64) string {
	return fmt.Sprintf("%s (standard error %s)", numeral(v, 2), numeral(se, 2))
}

// plain makes words of an id such as "weak-sector-at-chop" or "max_vacuum".
func plain(id string) string { return strings.NewReplacer("-", " ", "_", " ").Replace(id) }

// capital begins with a capital letter.
func capital(s string) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + s[size:]
}

// stop ends with a full stop, unless it ends a sentence already or says nothing.
func stop(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

// named gives a person's name, or says that it was erased.
func named(display string) string {
	if strings.TrimSpace(display) == "" {
		return "Name erased"
	}
	return display
}
