package text

import (
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// find follows path (strings are keys, ints are list indices). It gives the key's node (nil for a list
// item) and the value's node; ok is false when the path leads nowhere, and then the deepest value reached.
func (d *Doc) find(path []any) (key, value ast.Node, ok bool) {
	value = d.root
	for _, p := range path {
		var next ast.Node
		switch p := p.(type) {
		case string:
			for _, mv := range entries(value) {
				if keyText(mv) == p {
					key, next = mv.Key, mv.Value
				}
			}
		case int:
			if s, isSeq := value.(*ast.SequenceNode); isSeq && p >= 0 && p < len(s.Values) {
				key, next = nil, s.Values[p]
			}
		}
		if next == nil {
			return key, value, false
		}
		value = next
	}
	return key, value, true
}

func entries(n ast.Node) []*ast.MappingValueNode {
	switch m := n.(type) {
	case *ast.MappingNode:
		return m.Values
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{m}
	}
	return nil
}

func keyText(mv *ast.MappingValueNode) string {
	if t := mv.Key.GetToken(); t != nil {
		return t.Value
	}
	return ""
}

// Keys gives the keys of the mapping at path in the text's order; nil when there is no mapping.
func (d *Doc) Keys(path ...any) []string {
	_, n, ok := d.find(path)
	if !ok {
		return nil
	}
	var keys []string
	for _, mv := range entries(n) {
		keys = append(keys, keyText(mv))
	}
	return keys
}

// Has says whether path leads to a value.
func (d *Doc) Has(path ...any) bool {
	_, _, ok := d.find(path)
	return ok
}

// Problem makes a problem at path: at the key for a mapping or list (or a missing value), at the value for a
// scalar. A path that leads nowhere is placed at the deepest part of it that exists.
func (d *Doc) Problem(message, do string, path ...any) Problem {
	key, value, _ := d.find(path)
	at := value
	switch value.(type) {
	case *ast.MappingNode, *ast.MappingValueNode, *ast.SequenceNode, *ast.NullNode:
		if key != nil {
			at = key
		}
	}
	l, c := place(at)
	return Problem{File: d.File, Line: l, Column: c, Message: message, Do: do}
}

// ProblemIn makes a problem offset bytes inside the scalar at path. In a quoted scalar the quote is
// counted; in a block scalar the line breaks are followed.
func (d *Doc) ProblemIn(offset int, message, do string, path ...any) Problem {
	p := d.Problem(message, do, path...)
	_, value, ok := d.find(path)
	if !ok || offset < 0 {
		return p
	}
	switch v := value.(type) {
	case *ast.StringNode:
		if t := v.GetToken(); t != nil && len(t.Origin) > 0 {
			if q := strings.TrimLeft(t.Origin, " \n"); strings.HasPrefix(q, `"`) || strings.HasPrefix(q, "'") {
				offset++
			}
		}
		p.Column += offset
	case *ast.LiteralNode:
		text := v.Value.Value
		if offset > len(text) {
			offset = len(text)
		}
		origin := v.Value.GetToken().Origin
		indent := len(origin) - len(strings.TrimLeft(origin, " "))
		p.Line += strings.Count(text[:offset], "\n")
		p.Column = indent + 1 + offset - (strings.LastIndexByte(text[:offset], '\n') + 1)
	}
	return p
}

// Nearest gives the word among them that is closest to word in spelling, or "" when none is near.
func Nearest(word string, among []string) string {
	best, bestAt := 1+len(word)/3, ""
	for _, a := range among {
		if d := distance(word, a); d <= best && (bestAt == "" || d < best) {
			best, bestAt = d, a
		}
	}
	return bestAt
}

// distance is Levenshtein's.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}
