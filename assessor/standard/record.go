package standard

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"regexp"
	"strings"
)

// Record is what remains of a standard-setting meeting: who set which cut, by what method, from
// what data, when. Two records of the same meeting are equal, so it can be kept by its digest.
type Record struct {
	What   string   // what the standard is for: a competency, a circuit
	Who    []string // the people who judged, as the programme names them (ids, not addresses)
	Method string   // one of Methods
	Date   string   // as given: YYYY-MM-DD
	Data   string   // SHA-256 of the data's bytes, in hexadecimal
	Cut    float64
	Error  float64 // standard error of the cut; 0 when the method gives none
	Note   string  // why this cut, and what was decided against
}

// Methods are the ways to a cut that a record may name.
var Methods = []string{"angoff", "borderline", "contrasting", "hofstee", "decided"}

var day = regexp.MustCompile(`^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$`)

// NewRecord makes the record of a cut; data are the bytes the cut was computed from. It is an
// error without anything it records: what, at least one person, a method of [Methods], a date, data,
// a finite cut; and for the method "decided" (by people, without computation) without a note.
func NewRecord(r Record, data []byte) (Record, error) {
	sum := sha256.Sum256(data)
	r.Data = hex.EncodeToString(sum[:])
	switch {
	case strings.TrimSpace(r.What) == "":
		return Record{}, fmt.Errorf("a standard-setting record needs what the standard is for")
	case len(r.Who) == 0:
		return Record{}, fmt.Errorf("a standard-setting record needs the people who judged")
	case !day.MatchString(r.Date):
		return Record{}, fmt.Errorf("the date %q is none: write YYYY-MM-DD", r.Date)
	case len(data) == 0:
		return Record{}, fmt.Errorf("a standard-setting record needs the data the cut came from")
	case !(math.Abs(r.Cut) <= largest) || !(r.Error >= 0 && r.Error <= largest):
		return Record{}, fmt.Errorf("a cut of %g with standard error %g cannot be recorded", r.Cut, r.Error)
	}
	for _, w := range r.Who {
		if strings.TrimSpace(w) == "" {
			return Record{}, fmt.Errorf("one of the people who judged has no name")
		}
	}
	for _, m := range Methods {
		if r.Method == m {
			if m == "decided" && strings.TrimSpace(r.Note) == "" {
				return Record{}, fmt.Errorf("a cut decided without a method needs a note that says why")
			}
			return r, nil
		}
	}
	return Record{}, fmt.Errorf("the method %q is none: write one of %s", r.Method, strings.Join(Methods, ", "))
}

// String says the record in one sentence.
func (r Record) String() string {
	return fmt.Sprintf("%s: cut %.4g (standard error %.2g) by %s, set on %s by %s from data %.12s", r.What, r.Cut, r.Error, r.Method, r.Date, strings.Join(r.Who, ", "), r.Data)
}
