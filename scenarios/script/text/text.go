// Package text reads strict YAML and remembers where everything stood, so that whatever is wrong
// with a scenario or a rubric is reported by file, line and column with what to do about it.
//
// Strict means: one document, no key twice, no unknown key, no anchors or aliases (a reader must see
// what holds where it stands), at most MaxBytes.
package text

import (
	"errors"
	"fmt"
	"sort"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// MaxBytes is the largest text taken.
const MaxBytes = 256 << 10

// Problem is one thing that is wrong, where, and what to do about it.
type Problem struct {
	File         string
	Line, Column int // from 1; 0 when the place is not known
	Message      string
	Do           string
}

// String gives "file:line:column: message; what to do".
func (p Problem) String() string {
	s := fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
	if p.Do != "" {
		s += "; " + p.Do
	}
	return s
}

// Problems are everything found wrong, in the text's order. A non-empty list is an error.
type Problems []Problem

// Error gives one problem a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// Err gives the problems, sorted by place, as an error, or nil when there are none.
func (ps Problems) Err() error {
	if len(ps) == 0 {
		return nil
	}
	sort.SliceStable(ps, func(i, j int) bool {
		if ps[i].Line != ps[j].Line {
			return ps[i].Line < ps[j].Line
		}
		return ps[i].Column < ps[j].Column
	})
	return ps
}

// Doc is one parsed text.
type Doc struct {
	File string
	root ast.Node
}

// Parse reads one YAML document. The error is Problems.
func Parse(file string, data []byte) (*Doc, error) {
	if len(data) > MaxBytes {
		return nil, Problems{{File: file, Line: 1, Column: 1, Message: fmt.Sprintf("the text is %d bytes, more than %d", len(data), MaxBytes), Do: "split it"}}
	}
	f, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, Problems{fromYAML(file, err)}
	}
	var bodies []ast.Node
	for _, d := range f.Docs {
		if d.Body != nil {
			bodies = append(bodies, d.Body)
		}
	}
	if len(bodies) == 0 {
		return nil, Problems{{File: file, Line: 1, Column: 1, Message: "the text is empty", Do: "write the first key"}}
	}
	if len(bodies) > 1 {
		l, c := place(bodies[1])
		return nil, Problems{{File: file, Line: l, Column: c, Message: "a second document begins here", Do: "keep one document to a file"}}
	}
	d := &Doc{File: file, root: bodies[0]}
	if ps := d.refuseIndirection(); len(ps) > 0 {
		return nil, ps.Err()
	}
	return d, nil
}

// refuseIndirection finds anchors, aliases, merge keys and tags.
func (d *Doc) refuseIndirection() Problems {
	var ps Problems
	ast.Walk(visitor(func(n ast.Node) {
		switch n.Type() {
		case ast.AnchorType, ast.AliasType, ast.MergeKeyType, ast.TagType:
			l, c := place(n)
			ps = append(ps, Problem{File: d.File, Line: l, Column: c, Message: "anchors, aliases, merges and tags are not taken", Do: "write the value out where it holds"})
		}
	}), d.root)
	return ps
}

type visitor func(ast.Node)

// Visit calls the function on every node.
func (v visitor) Visit(n ast.Node) ast.Visitor { v(n); return v }

// Decode fills into (a pointer to a struct with yaml tags) strictly. The error is Problems.
func (d *Doc) Decode(into any) error {
	err := yaml.NodeToValue(d.root, into, yaml.Strict(), yaml.DisallowUnknownField())
	if err == nil {
		return nil
	}
	return Problems{fromYAML(d.File, err)}
}

// fromYAML turns the YAML library's error into a problem with its place.
func fromYAML(file string, err error) Problem {
	p := Problem{File: file, Line: 1, Column: 1, Message: firstLine(err.Error())}
	var ye yaml.Error
	if errors.As(err, &ye) {
		p.Message = ye.GetMessage()
		if t := ye.GetToken(); t != nil && t.Position != nil {
			p.Line, p.Column = t.Position.Line, t.Position.Column
		}
	}
	var unknown *yaml.UnknownFieldError
	var twice *yaml.DuplicateKeyError
	var typed *yaml.TypeError
	switch {
	case errors.As(err, &unknown):
		p.Do = "see the manual for the keys that may stand here"
	case errors.As(err, &twice):
		p.Do = "keep one of them"
	case errors.As(err, &typed):
		p.Message = fmt.Sprintf("the value does not fit: %s wanted", plainType(typed.DstType.String()))
		p.Do = "see the manual for the form of this value"
	}
	return p
}

func plainType(t string) string {
	t = strings.TrimPrefix(t, "*")
	switch {
	case strings.HasPrefix(t, "[]"):
		return "a list"
	case strings.HasPrefix(t, "map["):
		return "a mapping of names to values"
	case strings.HasPrefix(t, "int"), strings.HasPrefix(t, "uint"):
		return "a whole number"
	case strings.HasPrefix(t, "float"):
		return "a number"
	case t == "string":
		return "a text"
	case t == "bool":
		return "true or false"
	}
	return "a group of keys"
}

func firstLine(s string) string {
	if i := strings.IndexByte(s, '\n'); i >= 0 {
		return s[:i]
	}
	return s
}

// place gives the line and column where a node's own text begins.
func place(n ast.Node) (line, column int) {
	var t *token.Token
	switch m := n.(type) {
	case *ast.MappingNode:
		if len(m.Values) > 0 {
			return place(m.Values[0])
		}
		t = m.GetToken()
	case *ast.MappingValueNode:
		return place(m.Key)
	case *ast.LiteralNode:
		t = m.Value.GetToken()
	default:
		t = n.GetToken()
	}
	if t == nil || t.Position == nil {
		return 1, 1
	}
	return t.Position.Line, t.Position.Column
}
