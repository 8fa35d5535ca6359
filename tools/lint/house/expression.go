package house

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
	"sync"
	"time"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"

	"proofload/specdata"
	"proofload/tools/lint"
)

// CostLimit is the most one evaluation may cost, in CEL's units of about one step
// each: enough for several passes over the largest procedure, and over within 10 ms.
const CostLimit = 50_000

// MaxExpression is the longest expression, in characters; its parts may nest maxDepth deep.
const (
	MaxExpression = 2000
	maxDepth      = 40
)

// program is a compiled rule.
type program struct {
	when, expression cel.Program // when is nil for a rule that always applies
	at, message      string
}

// environment is shared by all expressions.
var environment = sync.OnceValues(func() (*cel.Env, error) {
	return cel.NewEnv(
		cel.OptionalTypes(),
		cel.CrossTypeNumericComparisons(true),
		cel.ParserExpressionSizeLimit(MaxExpression),
		cel.ParserRecursionLimit(maxDepth),
		cel.Variable("record", cel.MapType(cel.StringType, cel.DynType)),
		cel.Variable("today", cel.StringType),
		cel.Function("amount", cel.Overload("amount_string_string", []*cel.Type{cel.DynType, cel.StringType}, cel.DoubleType, cel.BinaryBinding(amount))),
	)
})

// amount returns a quantity in a unit.
func amount(q, unit ref.Val) ref.Val {
	text, ok := q.Value().(string)
	if !ok {
		return types.NewErr("amount needs a quantity like \"240 N.m\", found a %s", q.Type().TypeName())
	}
	parsed, err := specdata.ParseQuantity(text)
	if err != nil {
		return types.NewErr("%v", err)
	}
	symbol, _ := unit.Value().(string)
	v := parsed.Float(symbol)
	if math.IsNaN(v) {
		return types.NewErr("%s cannot be given in %q", parsed, symbol)
	}
	return types.Double(v)
}

// compile checks an expression and makes a bounded program of it.
func compile(text string) (cel.Program, error) {
	if n := len([]rune(text)); n > MaxExpression {
		return nil, fmt.Errorf("has %d characters; at most %d are allowed", n, MaxExpression)
	}
	env, err := environment()
	if err != nil {
		return nil, err
	}
	ast, issues := env.Compile(text)
	if issues.Err() != nil {
		return nil, errors.New(firstIssue(issues))
	}
	if t := ast.OutputType(); !t.IsExactType(cel.BoolType) && !t.IsExactType(cel.DynType) {
		return nil, fmt.Errorf("gives a %s; write one that is true or false", t)
	}
	return env.Program(ast, cel.CostLimit(CostLimit), cel.InterruptCheckFrequency(100))
}

// firstIssue puts CEL's first complaint on one line.
func firstIssue(issues *cel.Issues) string {
	e := issues.Errors()[0]
	return fmt.Sprintf("%s (line %d, column %d of the expression)", strings.Join(strings.Fields(e.Message), " "), e.Location.Line(), e.Location.Column()+1)
}

// errCost says that an expression was stopped.
var errCost = fmt.Errorf("expression was stopped because it costs more than %d steps; make it simpler", CostLimit)

// judge says whether the rule applies to a document and whether it holds.
func (p *program) judge(doc map[string]any, today string) (applies, holds bool, err error) {
	vars := map[string]any{"record": doc, "today": today}
	if p.when != nil {
		if applies, err = eval(p.when, vars); err != nil || !applies {
			return false, false, err
		}
	}
	holds, err = eval(p.expression, vars)
	return true, holds, err
}

func eval(prg cel.Program, vars map[string]any) (bool, error) {
	v, _, err := prg.Eval(vars)
	switch {
	case err != nil && strings.Contains(err.Error(), "cost limit exceeded"):
		return false, errCost
	case err != nil:
		return false, fmt.Errorf("expression has no value: %s", strings.TrimSuffix(err.Error(), ": <nil>"))
	}
	b, ok := v.Value().(bool)
	if !ok {
		return false, fmt.Errorf("expression gives a %s; write one that is true or false", v.Type().TypeName())
	}
	return b, nil
}

// check is the rule.
func (p *program) check(pass *lint.Pass) {
	doc, ok := pass.Document().(map[string]any)
	if !ok {
		return
	}
	applies, holds, err := p.judge(doc, pass.Date.Format(time.DateOnly))
	switch {
	case errors.Is(err, errCost):
		pass.Fail(err.Error())
	case err != nil:
		pass.NotChecked(p.at, err.Error())
	case !applies:
		pass.NotApplicable()
	case !holds:
		pass.Report(lint.Problem{At: p.at, Message: placeholders.ReplaceAllStringFunc(p.message, func(m string) string {
			return pass.Value(m[1 : len(m)-1])
		})})
	}
}

// placeholders are pointers in braces: "{/tightening/stages/0/torque}".
var placeholders = regexp.MustCompile(`\{/[^}\s]*\}`)
