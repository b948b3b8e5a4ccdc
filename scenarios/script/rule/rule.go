// Package rule is the expression language of guards and rubrics: CEL over a documented list of names,
// with nothing else in it. A rule is a condition (true or false) or, when the evidence it asks for is
// missing, neither: ErrMissing. && and || follow three-valued logic, so a missing operand only matters
// when the other one does not decide.
//
// Numbers are doubles; a whole number in a rule is read as one, so 3 and 3.0 are the same.
package rule

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"zonule/scenarios/script/text"
)

// ErrMissing says that a rule could not be decided because the evidence it asks for is not there.
var ErrMissing = errors.New("the evidence is missing")

// CostLimit bounds the work of one evaluation, in CEL's cost units. A rule of this language needs tens.
const CostLimit = 20_000

// MaxLength is the longest rule taken, in bytes.
const MaxLength = 2_000

// Kind is the type of a value.
type Kind int

// The kinds of values.
const (
	Bool Kind = iota
	Number
	Text
)

func (k Kind) celType() *cel.Type {
	return [...]*cel.Type{Bool: cel.BoolType, Number: cel.DoubleType, Text: cel.StringType}[k]
}

// String names the kind as a reader would.
func (k Kind) String() string {
	return [...]string{Bool: "true or false", Number: "a number", Text: "a text"}[k]
}

// Variable is a name a rule may use. The name may be dotted.
type Variable struct {
	Name    string
	Kind    Kind
	Meaning string
}

// Function is something a rule may call.
type Function struct {
	Name    string
	Args    []Kind
	Result  Kind
	Meaning string
	// Names checks a literal text argument when the rule is compiled; nil entries allow any value.
	Names []func(name string) error
	// Call computes the result from the world given to Holds. It returns ErrMissing when the evidence is missing.
	Call func(world any, args []any) (any, error)
}

// Mistake is what is wrong with a rule, Offset bytes into it.
type Mistake struct {
	Offset      int
	Message, Do string
}

// Error gives the message and what to do.
func (m *Mistake) Error() string {
	if m.Do == "" {
		return m.Message
	}
	return m.Message + "; " + m.Do
}

// Language is a fixed list of variables and functions. It is safe for concurrent use.
type Language struct {
	env   *cel.Env
	vars  []string
	funcs []string
}

const worldName = "@world"

var worldType = cel.OpaqueType("zonule.world")

// New makes a language. It fails when two names clash.
func New(vars []Variable, funcs []Function) (*Language, error) {
	opts := []cel.EnvOption{
		cel.StdLib(), cel.ClearMacros(),
		cel.Variable(worldName, worldType),
	}
	l := &Language{}
	once := map[string]bool{}
	for _, v := range vars {
		if once[v.Name] {
			return nil, fmt.Errorf("the rule language names %q twice", v.Name)
		}
		once[v.Name] = true
		l.vars = append(l.vars, v.Name)
		opts = append(opts, cel.Variable(v.Name, v.Kind.celType()))
	}
	for _, f := range funcs {
		if once[f.Name] {
			return nil, fmt.Errorf("the rule language names %q twice", f.Name)
		}
		once[f.Name] = true
		l.funcs = append(l.funcs, f.Name)
		opts = append(opts, f.macro(), f.overload())
	}
	env, err := cel.NewCustomEnv(opts...)
	if err != nil {
		return nil, fmt.Errorf("the rule language does not fit together: %w", err)
	}
	l.env = env
	return l, nil
}

// member is the hidden name a call is rewritten to, with the world as its receiver.
func (f Function) member() string { return "@" + f.Name }

// macro rewrites name(args) to world.@name(args) and checks literal names on the way.
func (f Function) macro() cel.EnvOption {
	return cel.Macros(cel.GlobalMacro(f.Name, len(f.Args), func(eh cel.MacroExprFactory, _ ast.Expr, args []ast.Expr) (ast.Expr, *cel.Error) {
		for i, check := range f.Names {
			if check == nil || i >= len(args) {
				continue
			}
			name, ok := literalText(args[i])
			if !ok {
				return nil, eh.NewError(args[i].ID(), fmt.Sprintf("%s wants a name in quotes here", f.Name))
			}
			if err := check(name); err != nil {
				return nil, eh.NewError(args[i].ID(), err.Error())
			}
		}
		return eh.NewMemberCall(f.member(), eh.NewIdent(worldName), args...), nil
	}))
}

func literalText(e ast.Expr) (string, bool) {
	if e.Kind() != ast.LiteralKind {
		return "", false
	}
	s, ok := e.AsLiteral().Value().(string)
	return s, ok
}

func (f Function) overload() cel.EnvOption {
	params := []*cel.Type{worldType}
	for _, a := range f.Args {
		params = append(params, a.celType())
	}
	binding := cel.FunctionBinding(func(vals ...ref.Val) ref.Val {
		args := make([]any, len(vals)-1)
		for i, v := range vals[1:] {
			args[i] = v.Value()
		}
		out, err := f.Call(vals[0].Value(), args)
		if err != nil {
			return types.WrapErr(err)
		}
		return types.DefaultTypeAdapter.NativeToValue(out)
	})
	return cel.Function(f.member(), cel.MemberOverload(f.member(), params, f.Result.celType(), binding))
}

// world carries the caller's value through CEL untouched.
type world struct {
	ref.Val // never used; satisfies the interface
	value   any
}

func (w world) Type() ref.Type { return worldType }
func (w world) Value() any     { return w.value }

// Rule is a compiled condition. It is safe for concurrent use.
type Rule struct {
	source  string
	program cel.Program
}

// Source gives the rule's text.
func (r *Rule) Source() string { return r.source }

// Compile reads a rule. The error is a *Mistake.
func (l *Language) Compile(src string) (*Rule, error) {
	if len(src) > MaxLength {
		return nil, &Mistake{Message: fmt.Sprintf("the rule is %d characters, more than %d", len(src), MaxLength), Do: "split it"}
	}
	if strings.TrimSpace(src) == "" {
		return nil, &Mistake{Message: "the rule is empty", Do: "write a condition"}
	}
	parsed, issues := l.env.Parse(src)
	if issues.Err() != nil {
		return nil, l.mistake(src, issues.Errors()[0])
	}
	asDoubles(parsed.NativeRep().Expr())
	checked, issues := l.env.Check(parsed)
	if issues.Err() != nil {
		return nil, l.mistake(src, issues.Errors()[0])
	}
	if checked.OutputType() != cel.BoolType {
		return nil, &Mistake{Message: "the rule gives no true or false", Do: "compare the value with something"}
	}
	p, err := l.env.Program(checked, cel.CostLimit(CostLimit))
	if err != nil {
		return nil, &Mistake{Message: err.Error()}
	}
	return &Rule{source: src, program: p}, nil
}

// asDoubles makes every whole-number literal a double: the language has no other numbers.
func asDoubles(e ast.Expr) {
	factory := ast.NewExprFactory()
	ast.PostOrderVisit(e, ast.NewExprVisitor(func(e ast.Expr) {
		if e.Kind() != ast.LiteralKind {
			return
		}
		if n, ok := e.AsLiteral().Value().(int64); ok {
			e.SetKindCase(factory.NewLiteral(e.ID(), types.Double(n)))
		}
	}))
}

// mistake says in plain words what CEL found.
func (l *Language) mistake(src string, e *common.Error) *Mistake {
	m := &Mistake{Offset: offset(src, e.Location), Message: e.Message, Do: "see the manual for the names and functions of this language"}
	switch {
	case strings.HasPrefix(e.Message, "undeclared reference to"):
		m.Offset, m.Message = wordAt(src, m.Offset)
		word := m.Message
		known := slices.Concat(l.vars, l.funcs)
		switch near := text.Nearest(word, known); {
		case slices.Contains(l.funcs, word):
			m.Message = fmt.Sprintf("%q is called with the wrong number of arguments", word)
		case near != "":
			m.Message, m.Do = fmt.Sprintf("%q is not known here", word), fmt.Sprintf("did you mean %q?", near)
		default:
			m.Message = fmt.Sprintf("%q is not known here", word)
		}
	case strings.HasPrefix(e.Message, "found no matching overload"):
		m.Message = "these values cannot be put together like this"
		m.Do = "compare numbers with numbers, texts with texts"
	case strings.HasPrefix(e.Message, "Syntax error"):
		m.Message = "the rule cannot be read here: " + strings.TrimPrefix(e.Message, "Syntax error: ")
		m.Do = "check brackets, quotes and operators (&&, ||, !, ==, <, >=)"
	}
	return m
}

// wordAt gives the dotted word that lies at or around off, and where it starts.
func wordAt(src string, off int) (int, string) {
	isWord := func(i int) bool {
		c := src[i]
		return c == '_' || c == '.' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
	}
	off = min(off, len(src))
	start, end := off, off
	for start > 0 && isWord(start-1) {
		start--
	}
	for end < len(src) && isWord(end) {
		end++
	}
	return start, src[start:end]
}

// offset turns CEL's line (from 1) and column (characters from 0) into bytes.
func offset(src string, loc common.Location) int {
	off := 0
	for range max(0, loc.Line()-1) {
		i := strings.IndexByte(src[off:], '\n')
		if i < 0 {
			break
		}
		off += i + 1
	}
	for n := loc.Column(); n > 0 && off < len(src); n-- {
		off += len(string([]rune(src[off:])[:1]))
	}
	return off
}

// names resolves a rule's names lazily.
type names struct {
	vars  func(string) (any, bool)
	world world
}

func (n *names) ResolveName(name string) (any, bool) {
	if name == worldName {
		return n.world, true
	}
	return n.vars(name)
}

func (n *names) Parent() cel.Activation { return nil }

// Holds evaluates the rule. vars gives each variable's value (bool, float64 or string); world is handed to
// the functions. The error is ErrMissing when the evidence is missing, else something is wrong with the rule.
func (r *Rule) Holds(vars func(name string) (any, bool), w any) (bool, error) {
	v, _, err := r.program.Eval(&names{vars: vars, world: world{value: w}})
	if err != nil {
		if errors.Is(err, ErrMissing) {
			return false, ErrMissing
		}
		return false, fmt.Errorf("the rule %q failed: %w", r.source, err)
	}
	b, ok := v.Value().(bool)
	if !ok {
		return false, fmt.Errorf("the rule %q gave %v, not true or false", r.source, v.Value())
	}
	return b, nil
}
