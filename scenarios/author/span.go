package author

import (
	"math"
	"slices"
)

// span is what a number may be: between two bounds, perhaps only whole, perhaps one of a list. Bounds may be
// open (not reached). Yes and no are the whole numbers 1 and 0.
type span struct {
	low, high         float64
	lowOpen, highOpen bool
	whole             bool
	oneOf             []float64 // nil for anything between
	not               []float64 // shut out singly
}

var (
	anything  = span{low: math.Inf(-1), high: math.Inf(1)}
	unsigned  = span{low: 0, high: math.Inf(1)}
	yesOrNo   = span{low: 0, high: 1, whole: true}
	fraction  = span{low: 0, high: 1}
	countless = span{low: 0, high: math.Inf(1), whole: true}
)

func between(low, high float64) span { return span{low: low, high: high} }

func oneOf(values []float64) span {
	return span{low: slices.Min(values), high: slices.Max(values), oneOf: values}
}

// comparison is one of < <= > >= == != with a number on the right.
type comparison struct {
	op string
	to float64
}

func (c comparison) turned() comparison {
	return comparison{map[string]string{"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}[c.op], c.to}
}

func (c comparison) holds(x float64) bool {
	switch c.op {
	case "<":
		return x < c.to
	case "<=":
		return x <= c.to
	case ">":
		return x > c.to
	case ">=":
		return x >= c.to
	case "==":
		return x == c.to
	}
	return x != c.to
}

// narrow keeps of the span what the comparison allows.
func (s span) narrow(c comparison) span {
	if s.oneOf != nil {
		var kept []float64
		for _, x := range s.oneOf {
			if c.holds(x) {
				kept = append(kept, x)
			}
		}
		if len(kept) == 0 {
			return span{low: 1, high: 0}
		}
		s.oneOf, s.low, s.high = kept, slices.Min(kept), slices.Max(kept)
		return s
	}
	if (c.op == "<" || c.op == "<=" || c.op == "==") && (c.to < s.high || c.to == s.high && c.op == "<") {
		s.high, s.highOpen = c.to, c.op == "<"
	}
	if (c.op == ">" || c.op == ">=" || c.op == "==") && (c.to > s.low || c.to == s.low && c.op == ">") {
		s.low, s.lowOpen = c.to, c.op == ">"
	}
	if c.op == "!=" {
		s.not = append(slices.Clone(s.not), c.to)
	}
	return s.tidy()
}

// tidy moves the bounds of a whole span to whole numbers and off what is shut out.
func (s span) tidy() span {
	if !s.whole {
		return s
	}
	if low := math.Ceil(s.low); s.lowOpen && low == s.low {
		s.low, s.lowOpen = low+1, false
	} else {
		s.low, s.lowOpen = low, false
	}
	if high := math.Floor(s.high); s.highOpen && high == s.high {
		s.high, s.highOpen = high-1, false
	} else {
		s.high, s.highOpen = high, false
	}
	for s.low <= s.high && slices.Contains(s.not, s.low) {
		s.low++
	}
	for s.low <= s.high && slices.Contains(s.not, s.high) {
		s.high--
	}
	return s
}

// empty reports whether nothing is left.
func (s span) empty() bool {
	if s.low == s.high {
		return s.lowOpen || s.highOpen || slices.Contains(s.not, s.low)
	}
	return s.low > s.high
}

// scaled gives k times the span plus d, as bounds only.
func (s span) scaled(k, d float64) span {
	out := span{low: k*s.low + d, high: k*s.high + d, lowOpen: s.lowOpen, highOpen: s.highOpen}
	if k < 0 {
		out = span{low: k*s.high + d, high: k*s.low + d, lowOpen: s.highOpen, highOpen: s.lowOpen}
	}
	return out
}

// plus gives the sum of two spans, as bounds only.
func (s span) plus(t span) span {
	return span{low: s.low + t.low, high: s.high + t.high, lowOpen: s.lowOpen || t.lowOpen, highOpen: s.highOpen || t.highOpen}
}
