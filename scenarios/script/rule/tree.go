package rule

import (
	"fmt"
	"sync"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
)

// Node is a rule as a tree, for whoever reasons about a rule without evaluating it. What holds what:
//
//	OpAnd, OpOr, OpNot                     conditions of Args
//	OpLess ... OpUnequal                   a comparison of Args[0] with Args[1]
//	OpPlus, OpMinus, OpTimes, OpOver, OpNegative  arithmetic on Args
//	OpName                                 the variable Name
//	OpCall                                 the function Name of Args
//	OpNumber, OpText, OpTruth              a literal in Number, Name and Truth
//	OpOther                                anything else CEL can say; nothing is known about it
type Node struct {
	Op     Op
	Args   []Node
	Name   string
	Number float64
	Truth  bool
}

// Op is what a node of a rule's tree does.
type Op string

// The operations of a rule's tree.
const (
	OpAnd, OpOr, OpNot                  = Op("&&"), Op("||"), Op("!")
	OpLess, OpAtMost, OpMore, OpAtLeast = Op("<"), Op("<="), Op(">"), Op(">=")
	OpEqual, OpUnequal                  = Op("=="), Op("!=")
	OpPlus, OpMinus, OpTimes, OpOver    = Op("+"), Op("-"), Op("*"), Op("/")
	OpNegative, OpName, OpCall          = Op("negative"), Op("name"), Op("call")
	OpNumber, OpText, OpTruth, OpOther  = Op("number"), Op("text"), Op("truth"), Op("other")
)

var operations = map[string]Op{
	operators.LogicalAnd: OpAnd, operators.LogicalOr: OpOr, operators.LogicalNot: OpNot,
	operators.Less: OpLess, operators.LessEquals: OpAtMost, operators.Greater: OpMore, operators.GreaterEquals: OpAtLeast,
	operators.Equals: OpEqual, operators.NotEquals: OpUnequal,
	operators.Add: OpPlus, operators.Subtract: OpMinus, operators.Multiply: OpTimes, operators.Divide: OpOver, operators.Negate: OpNegative,
}

// plain parses without names and macros: a tree needs neither.
var plain = sync.OnceValues(func() (*cel.Env, error) { return cel.NewCustomEnv(cel.ClearMacros()) })

// Tree gives the tree of a rule's text. It checks the grammar only: whether names are known is for Compile to
// say. The error is a *Mistake.
func Tree(src string) (Node, error) {
	env, err := plain()
	if err != nil {
		return Node{}, &Mistake{Message: err.Error()}
	}
	parsed, issues := env.Parse(src)
	if issues.Err() != nil {
		return Node{}, (&Language{}).mistake(src, issues.Errors()[0])
	}
	return node(parsed.NativeRep().Expr()), nil
}

func node(e ast.Expr) Node {
	switch e.Kind() {
	case ast.LiteralKind:
		return literal(e.AsLiteral().Value())
	case ast.IdentKind:
		return Node{Op: OpName, Name: e.AsIdent()}
	case ast.SelectKind:
		if of := node(e.AsSelect().Operand()); of.Op == OpName && !e.AsSelect().IsTestOnly() {
			return Node{Op: OpName, Name: of.Name + "." + e.AsSelect().FieldName()}
		}
	case ast.CallKind:
		call := e.AsCall()
		if call.IsMemberFunction() {
			return Node{Op: OpOther}
		}
		n := Node{Op: OpCall, Name: call.FunctionName()}
		if op, ok := operations[call.FunctionName()]; ok {
			n = Node{Op: op}
		}
		for _, a := range call.Args() {
			n.Args = append(n.Args, node(a))
		}
		if n.Op == OpCall && n.Name == operators.Conditional {
			n.Op = OpOther
		}
		return n
	}
	return Node{Op: OpOther}
}

func literal(v any) Node {
	switch x := v.(type) {
	case int64:
		return Node{Op: OpNumber, Number: float64(x)}
	case uint64:
		return Node{Op: OpNumber, Number: float64(x)}
	case float64:
		return Node{Op: OpNumber, Number: x}
	case string:
		return Node{Op: OpText, Name: x}
	case bool:
		return Node{Op: OpTruth, Truth: x}
	}
	return Node{Op: OpOther}
}

// Walk calls f on the node and everything below it.
func (n Node) Walk(f func(Node)) {
	f(n)
	for _, a := range n.Args {
		a.Walk(f)
	}
}

// String writes the tree in full brackets, for tests and messages.
func (n Node) String() string {
	switch n.Op {
	case OpName:
		return n.Name
	case OpNumber:
		return fmt.Sprintf("%g", n.Number)
	case OpText:
		return fmt.Sprintf("'%s'", n.Name)
	case OpTruth:
		return fmt.Sprint(n.Truth)
	case OpCall:
		s := n.Name + "("
		for i, a := range n.Args {
			if i > 0 {
				s += ", "
			}
			s += a.String()
		}
		return s + ")"
	case OpNot, OpNegative:
		return "(" + map[Op]string{OpNot: "!", OpNegative: "-"}[n.Op] + n.Args[0].String() + ")"
	case OpOther:
		return "?"
	}
	return "(" + n.Args[0].String() + " " + string(n.Op) + " " + n.Args[1].String() + ")"
}
