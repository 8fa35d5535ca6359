package rules_test

import (
	"encoding/csv"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// Every number by which a rule decides is that of testdata/reference/rule_constants.csv,
// which says where it comes from; nothing is in one alone. A cell is a rule, the constant
// or function that the number is in, and which of its numbers it is.
func TestNumbersOfRulesAreTheTable(t *testing.T) {
	f, err := os.Open("../../../testdata/reference/rule_constants.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	table, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]string{}
	for _, r := range table[1:] {
		if want[r[0]] != nil || r[2] == "" {
			t.Errorf("%s is there twice, or has no source", r[0])
		}
		want[r[0]] = r
	}
	got := numbersOfRules(t)
	for _, n := range got {
		switch r := want[n.cell]; {
		case r == nil:
			t.Errorf("%s,%s is in the rule and not in testdata/reference/rule_constants.csv; add it with its source", n.cell, n.value)
		case r[1] != n.value:
			t.Errorf("%s is %s, the table has %s (%s)", n.cell, n.value, r[1], r[2])
		}
		delete(want, n.cell)
	}
	for cell := range want {
		t.Errorf("%s is in the table and in no rule", cell)
	}
	if len(got) < 50 {
		t.Errorf("%d numbers found; the rules hold more", len(got))
	}
}

type numberOfRule struct{ cell, value string }

// formal are numbers inside functions by which nothing is decided: signs, bits of a
// float, hours of a day, percent, kilo, the slack of floating point.
var formal = []string{"0", "1", "2", "0.0", "1.0", "64", "24", "100", "1e3", "1e-9"}

func numbersOfRules(t *testing.T) []numberOfRule {
	files, err := filepath.Glob("*/*.go")
	if err != nil {
		t.Fatal(err)
	}
	var all []numberOfRule
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") || filepath.Dir(name) == "gen" {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				all = append(all, numbersIn(filepath.Dir(name)+"/"+fn.Name.Name, fn.Body, formal)...)
				continue
			}
			for _, s := range d.(*ast.GenDecl).Specs {
				v, ok := s.(*ast.ValueSpec)
				if !ok || v.Names[0].Name == "Rule" {
					continue
				}
				all = append(all, numbersIn(filepath.Dir(name)+"/"+v.Names[0].Name, v, nil)...)
			}
		}
	}
	return all
}

// numbersIn returns the numbers below a node but those that are formal, indices and the
// digits that a number is printed with.
func numbersIn(place string, n ast.Node, formal []string) []numberOfRule {
	var out []numberOfRule
	ast.Inspect(n, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.IndexExpr, *ast.SliceExpr, *ast.ArrayType:
			return false
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && (s.Sel.Name == "FloatString" || strings.HasPrefix(s.Sel.Name, "Format")) {
				return false
			}
		case *ast.BasicLit:
			if (n.Kind == token.FLOAT || n.Kind == token.INT) && !slices.Contains(formal, n.Value) {
				out = append(out, numberOfRule{fmt.Sprintf("%s/%s", place, strconv.Itoa(len(out)+1)), n.Value})
			}
		}
		return true
	})
	return out
}
