package house_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"proofload/specdata"
	"proofload/tools/lint"
	"proofload/tools/lint/house"
	"proofload/tools/lint/ruletest"
)

const good = `name: house-second-reader
title: wheel torque has no second reader
severity: error
applies: {kind: fastener, when: 'has(record.safety) && record.safety == "wheel"'}
expression: 'record.?source.checked_by.hasValue()'
at: /source
message: 'torque {/tightening/stages/0/torque} of {/title} has no second reader; name one'
why: A wheel that comes off kills.
source: our handbook, page 4
wrong:
  - {safety: wheel, source: {entered_by: Maud Ibbot}}
  - {safety: wheel}
right:
  - {safety: wheel, source: {entered_by: Maud Ibbot, checked_by: Piet Oram}}
  - {safety: brake}
`

func load(t *testing.T, text string) *lint.Rule {
	t.Helper()
	r, err := house.Parse("rules/house-second-reader.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func lintWorld(t *testing.T, r *lint.Rule) (*lint.Report, error) {
	t.Helper()
	world, err := ruletest.World()
	if err != nil {
		t.Fatal(err)
	}
	return lint.Run(context.Background(), lint.Options{
		Rules: []*lint.Rule{r}, Library: world, Date: ruletest.Date,
		Only: []specdata.Name{"fasteners/tansy-2-caliper-bracket-bolt", "fasteners/tansy-2-wheel-bolt", "sources/tansy-2-chassis", "procedures/tansy-2-front-caliper-off-and-on"},
	})
}

func TestRuleRuns(t *testing.T) {
	rep, err := lintWorld(t, load(t, good))
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.Findings) != 0 || rep.Applied["house-second-reader"] != 1 {
		t.Errorf("findings %v, applied to %d; want none, and the wheel bolt alone", rep.Findings, rep.Applied["house-second-reader"])
	}

	strict := strings.NewReplacer("checked_by.hasValue", "countersigned_by.hasValue", "checked_by: Piet", "countersigned_by: Piet").Replace(good)
	rep, err = lintWorld(t, load(t, strict))
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.Findings) != 1 {
		t.Fatalf("findings %v, want one", rep.Findings)
	}
	f := rep.Findings[0]
	if f.Record != "fasteners/tansy-2-wheel-bolt" || f.Pointer != "/source" || f.Line == 0 || f.Severity != specdata.Error {
		t.Errorf("finding is %+v", f)
	}
	if want := "torque 110 N.m of Wheel bolt has no second reader; name one"; f.Message != want {
		t.Errorf("message is %q, want %q", f.Message, want)
	}
}

// TestExpressions: what expressions can ask, each with a record it holds for and one it does not.
func TestExpressions(t *testing.T) {
	tests := []struct{ expression, right, wrong string }{
		{`record.count > 4`, `{count: 5}`, `{count: 4}`},
		{`record.count == 5`, `{count: 5}`, `{count: 5.5}`},
		{`size(record.tightening.stages) == 1`, `{tightening: {stages: [{}]}}`, `{tightening: {stages: []}}`},
		// 80 lbf·ft are 108.5 N·m (NIST SP 811: 1 lbf·ft = 1.355 818 N·m).
		{`amount(record.torque, "lbf.ft") > 80.0`, `{torque: 109 N.m}`, `{torque: 108 N.m}`},
		{`amount(record.torque, "N.m") == 110.0`, `{torque: 110 N.m}`, `{torque: 110 lbf.ft}`},
		{`record.stages.all(s, has(s.also))`, `{stages: [{also: x}]}`, `{stages: [{also: x}, {}]}`},
		{`record.title.matches("^[A-Z]")`, `{title: Bolt}`, `{title: bolt}`},
		{`record.read_on <= today`, `{read_on: "2026-11-25"}`, `{read_on: "2026-11-26"}`},
		{`record.?lock.by.orValue("none") != "stake"`, `{title: x}`, `{lock: {by: stake}}`},
	}
	for _, tt := range tests {
		text := fmt.Sprintf("name: house-x\ntitle: t\napplies: {kind: fastener}\nexpression: '%s'\nmessage: m\nwrong: [%s]\nright: [%s]\n", tt.expression, tt.wrong, tt.right)
		if _, err := house.Parse("house-x.yaml", []byte(text)); err != nil {
			t.Errorf("expression %s: %v", tt.expression, err)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	tests := []struct{ name, from, to, want string }{
		{"no wrong example", "wrong:\n  - {safety: wheel, source: {entered_by: Maud Ibbot}}\n  - {safety: wheel}\n", "", ":1: house rule has 0 wrong and 2 right examples; it needs at least one of each"},
		{"no right example", good[strings.Index(good, "right:"):], "", ":1: house rule has 2 wrong and 0 right"},
		{"wrong example that is right", "  - {safety: wheel}\n", "  - {safety: wheel, source: {checked_by: P}}\n", ":12: wrong example is not reported: the expression is true"},
		{"wrong example outside the scope", "  - {safety: wheel}\n", "  - {safety: seat}\n", ":12: wrong example is not reported: the rule does not apply"},
		{"right example that is wrong", "  - {safety: brake}\n", "  - {safety: wheel}\n", ":15: right example is reported"},
		{"no prefix", "name: house-second-reader", "name: second-reader", `:1: name "second-reader" is not house- and`},
		{"other file name", "name: house-second-reader", "name: house-third-reader", `:1: name "house-third-reader" stands in the file house-second-reader.yaml`},
		{"unknown key", "severity: error", "severety: error", `:3: key "severety" is unknown (did you mean "severity"?)`},
		{"key twice", "severity: error", "title: again", `:3: key "title" stands twice`},
		{"unknown severity", "severity: error", "severity: fatal", `:3: severity "fatal" is none`},
		{"unknown kind", "kind: fastener", "kind: fastner", `:4: kind "fastner" does not exist (did you mean "fastener"?)`},
		{"no kind", "applies: {kind: fastener, when: 'has(record.safety) && record.safety == \"wheel\"'}\n", "", ":1: house rule applies to nothing"},
		{"no message", "message: 'torque {/tightening/stages/0/torque} of {/title} has no second reader; name one'\n", "", ":1: house rule has no message"},
		{"pointer", "at: /source", "at: source", `:6: at "source" is not a JSON pointer`},
		{"syntax of the expression", "record.?source.checked_by.hasValue()", "record.source.", ":5: expression: Syntax error"},
		{"unknown name in the expression", "record.?source.checked_by.hasValue()", "recrod.source", ":5: expression: undeclared reference to 'recrod'"},
		{"expression that is no judgement", "record.?source.checked_by.hasValue()", "size(record)", ":5: expression: gives a int"},
		{"unknown unit", "record.?source.checked_by.hasValue()", `amount("5 N.m", "mm") > 1.0`, "cannot be given in"},
		{"bare number", "record.?source.checked_by.hasValue()", `amount("5", "N.m") > 1.0`, "the unit is missing and is never guessed"},
		{"not YAML", "title: wheel", "title: [wheel", "house rule is not YAML: "},
		{"two documents", "right:\n", "---\nright:\n", "holds two documents"},
		{"alias", "  - {safety: brake}\n", "  - &a {safety: brake}\n  - {safety: brake, x: *a}\n", "example uses an alias"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text := strings.Replace(good, tt.from, tt.to, 1)
			if text == good {
				t.Fatalf("rule has no %q to replace", tt.from)
			}
			_, err := house.Parse("lib/rules/house-second-reader.yaml", []byte(text))
			if err == nil || !strings.Contains(err.Error(), tt.want) || !strings.HasPrefix(err.Error(), "lib/rules/house-second-reader.yaml:") {
				t.Errorf("error is %v, want one with the file and %q", err, tt.want)
			}
		})
	}
}

// TestHostileExpressionEnds: an expression that would run for ever, or fill the
// memory, is stopped soon, and by name.
func TestHostileExpressionEnds(t *testing.T) {
	const ten = "[1,2,3,4,5,6,7,8,9,10]"
	deep := strings.Repeat("(", 200) + "true" + strings.Repeat(")", 200)
	nested := "true"
	for i := range 8 {
		nested = fmt.Sprintf("%s.all(x%d, %s)", ten, i, nested)
	}
	doubled := `"aaaaaaaaaa"`
	for i := range 6 {
		doubled = fmt.Sprintf("%s.map(x%d, %s)", ten, i, doubled)
	}
	tests := []struct{ name, expression, want string }{
		{"loops in loops", nested, "costs more than 50000 steps"},
		{"lists of lists", "size(" + doubled + ") > 0", "costs more than 50000 steps"},
		{"parentheses", deep, "expression"},
		{"too long", "true" + strings.Repeat(" && true", 400), "at most 2000"},
		{"slow pattern", `("` + strings.Repeat("a", 900) + `").matches("(a*)*(a*)*(a*)*b")`, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text := fmt.Sprintf("name: house-x\ntitle: t\napplies: {kind: fastener}\nexpression: '%s'\nmessage: m\nwrong: [{count: 1}]\nright: [{count: 2}]\n", tt.expression)
			start := time.Now()
			_, err := house.Parse("house-x.yaml", []byte(text))
			// The limit is 10 ms an evaluation; the test allows for a busy machine and for compiling.
			if took := time.Since(start); took > time.Second {
				t.Errorf("took %v", took)
			}
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error is %v, want one with %q", err, tt.want)
			}
		})
	}
}

// TestCostlyOnARecord: an expression cheap on its examples and costly on a record
// fails the run with its name; the record does not count as checked.
func TestCostlyOnARecord(t *testing.T) {
	r, err := house.Parse("house-x.yaml", []byte(`name: house-x
title: t
applies: {kind: procedure}
expression: 'record.steps.all(a, record.steps.all(b, record.steps.all(c, record.steps.all(d, a.id + b.id + c.id + d.id != "x"))))'
message: m
wrong: [{steps: [{id: ""}, {id: x}]}]
right: [{steps: []}]
`))
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	_, err = lintWorld(t, r)
	var failure *lint.RuleFailure
	if !errors.As(err, &failure) || failure.Rule != "house-x" || !strings.Contains(err.Error(), "costs more than 50000 steps") {
		t.Errorf("error is %v, want a failure of house-x for its cost", err)
	}
	if took := time.Since(start); took > time.Second {
		t.Errorf("took %v", took)
	}
}

// TestMissingFieldIsNotChecked: an expression that reads a field the record lacks says so.
func TestMissingFieldIsNotChecked(t *testing.T) {
	text := "name: house-x\ntitle: t\napplies: {kind: [fastener, source]}\nexpression: 'record.edition != \"draft\"'\nat: /edition\nmessage: m\nwrong: [{edition: draft}]\nright: [{edition: \"2\"}]\n"
	r, err := house.Parse("house-x.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	rep, err := lintWorld(t, r)
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.NotChecked) != 2 || !strings.Contains(rep.NotChecked[0].Why, "no such key: edition") || len(rep.Findings) != 0 {
		t.Errorf("not checked %v, findings %v; want the two fasteners", rep.NotChecked, rep.Findings)
	}
}

func TestLoad(t *testing.T) {
	file := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }
	rules, err := house.Load(fstest.MapFS{
		"rules/house-second-reader.yaml": file(good),
		"rules/house-a.yaml":             file(strings.Replace(good, "house-second-reader", "house-a", 1)),
		"rules/README.md":                file("about our rules"),
	}, "rules", "lib")
	if err != nil {
		t.Fatal(err)
	}
	if len(rules) != 2 || rules[0].Name != "house-a" || rules[1].Name != "house-second-reader" {
		t.Errorf("rules are %v", rules)
	}
	for _, want := range []string{"A wheel that comes off kills.", "record.?source.checked_by", "our handbook, page 4"} {
		if !strings.Contains(rules[1].Doc, want) {
			t.Errorf("document lacks %q:\n%s", want, rules[1].Doc)
		}
	}
	if rules, err := house.Load(fstest.MapFS{}, "rules", ""); rules != nil || err != nil {
		t.Errorf("a library without rules gives %v, %v", rules, err)
	}
	if _, err := house.Load(fstest.MapFS{"rules/house-x.yaml": file(strings.Repeat("#", house.MaxFile+1))}, "rules", "lib"); err == nil || !strings.Contains(err.Error(), "lib/rules/house-x.yaml: house rule has 65537 bytes") {
		t.Errorf("error is %v, want one about the size", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(good)
	f.Add("name: house-x\nwrong: [[[]]]\n")
	f.Add("applies: {kind: [fastener, {}]}\n")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 4096 {
			return
		}
		r, err := house.Parse("house-second-reader.yaml", []byte(text))
		if err == nil {
			err = lint.Validate([]*lint.Rule{r})
			if err != nil {
				t.Errorf("a rule that loads is not fit: %v", err)
			}
		} else if !strings.HasPrefix(err.Error(), "house-second-reader.yaml:") {
			t.Errorf("error does not name the file: %v", err)
		}
	})
}
