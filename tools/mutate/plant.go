package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
)

// mutant is one fault that can be planted in one file: the bytes from start to end
// become text.
type mutant struct {
	file       string // path of the source file
	line       int
	start, end int
	was, text  string
	// key names the mutant by what surrounds it, not by where it is, so that lines
	// added elsewhere do not change which mutants a sample takes.
	key string
}

// String returns the mutant as a line of the report.
func (m mutant) String() string {
	return fmt.Sprintf("%s:%d: %s -> %s", m.file, m.line, m.was, m.text)
}

// swaps lists the operators that turn into another one. A boundary moves by one
// ('<' to '<='), an equality turns over, a conjunction becomes a disjunction, and
// arithmetic takes its inverse.
var swaps = map[token.Token]string{
	token.LSS: "<=", token.LEQ: "<", token.GTR: ">=", token.GEQ: ">",
	token.EQL: "!=", token.NEQ: "==",
	token.LAND: "||", token.LOR: "&&",
	token.ADD: "-", token.SUB: "+", token.MUL: "/", token.QUO: "*",
}

// mutants returns every mutant of the package in dir, ordered by file and place.
// It returns an error where a file cannot be read or parsed.
func mutants(dir string) ([]mutant, error) {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, err
	}
	sort.Strings(names)
	var all []mutant
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		src, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		found, err := mutantsOf(name, src)
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	return all, nil
}

// mutantsOf returns the mutants of one file.
func mutantsOf(name string, src []byte) ([]mutant, error) {
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, name, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	if ast.IsGenerated(file) {
		return nil, nil
	}
	v := planter{name: name, src: src, fset: fset, seen: map[string]int{}}
	for _, d := range file.Decls {
		v.in = declName(d)
		ast.Inspect(d, v.visit)
	}
	return v.found, nil
}

type planter struct {
	name  string
	src   []byte
	fset  *token.FileSet
	in    string
	seen  map[string]int
	found []mutant
}

func (v *planter) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.BinaryExpr:
		if to, ok := swaps[n.Op]; ok && !joinsText(n) {
			v.add(n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), to, n)
		}
	case *ast.IfStmt:
		v.add(n.Cond.Pos(), n.Cond.End(), "!("+v.text(n.Cond.Pos(), n.Cond.End())+")", n.Cond)
	case *ast.BasicLit:
		if to, ok := moved(n); ok {
			v.add(n.Pos(), n.End(), to, n)
		}
	case *ast.ImportSpec:
		return false
	}
	return true
}

// add keeps a mutant. around is the node whose text goes into its key.
func (v *planter) add(from, to token.Pos, text string, around ast.Node) {
	start, end := v.fset.Position(from).Offset, v.fset.Position(to).Offset
	about := filepath.Base(v.name) + " " + v.in + " " + v.text(around.Pos(), around.End()) + " " + text
	v.seen[about]++
	sum := sha256.Sum256([]byte(about + " " + strconv.Itoa(v.seen[about])))
	v.found = append(v.found, mutant{
		file: v.name, line: v.fset.Position(from).Line, start: start, end: end,
		was: string(v.src[start:end]), text: text, key: hex.EncodeToString(sum[:8]),
	})
}

func (v *planter) text(from, to token.Pos) string {
	return string(v.src[v.fset.Position(from).Offset:v.fset.Position(to).Offset])
}

// moved returns a number a tenth above the literal, or one above for a whole
// number, which is what a misread constant looks like.
func moved(n *ast.BasicLit) (string, bool) {
	switch n.Kind {
	case token.FLOAT:
		f, err := strconv.ParseFloat(n.Value, 64)
		if err != nil || f == 0 {
			return "", false
		}
		text := strconv.FormatFloat(f*1.1, 'g', 6, 64)
		if !strings.ContainsAny(text, ".e") {
			text += ".0"
		}
		return text, true
	case token.INT:
		i, err := strconv.ParseInt(n.Value, 0, 32)
		if err != nil {
			return "", false
		}
		return strconv.FormatInt(i+1, 10), true
	}
	return "", false
}

// joinsText reports whether a '+' visibly joins strings, where '-' would not compile.
func joinsText(n *ast.BinaryExpr) bool {
	if n.Op != token.ADD {
		return false
	}
	found := false
	ast.Inspect(n, func(c ast.Node) bool {
		if lit, ok := c.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			found = true
		}
		return !found
	})
	return found
}

func declName(d ast.Decl) string {
	if f, ok := d.(*ast.FuncDecl); ok {
		return f.Name.Name
	}
	return ""
}

// plant returns src with the mutant in it.
func (m mutant) plant(src []byte) []byte {
	out := append([]byte(nil), src[:m.start]...)
	out = append(out, m.text...)
	return append(out, src[m.end:]...)
}

// sample returns at most n mutants, those with the smallest keys: the same ones in
// every run, whatever is added around them. n = 0 takes all.
func sample(all []mutant, n int) []mutant {
	if n == 0 || n >= len(all) {
		return all
	}
	byKey := append([]mutant(nil), all...)
	sort.Slice(byKey, func(i, j int) bool { return byKey[i].key < byKey[j].key })
	return byKey[:n]
}
