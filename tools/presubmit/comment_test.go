package presubmit

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every package says what it is for.
func TestPackageComments(t *testing.T) {
	for _, p := range packages(t) {
		commented := false
		for _, f := range p.GoFiles {
			parsed, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, f), nil, parser.ParseComments|parser.PackageClauseOnly)
			if err != nil {
				t.Fatal(err)
			}
			commented = commented || parsed.Doc != nil || ast.IsGenerated(parsed)
		}
		if len(p.GoFiles) > 0 && !commented {
			t.Errorf("%s has no package comment; say in a sentence what it is for", own(p))
		}
	}
}

// A doc comment that begins with the name of something else is of something that was
// renamed. Comments that begin with another word are left to reviewers.
func TestStaleComments(t *testing.T) {
	for _, p := range packages(t) {
		for _, f := range p.GoFiles {
			fset := token.NewFileSet()
			parsed, err := parser.ParseFile(fset, filepath.Join(p.Dir, f), nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			if ast.IsGenerated(parsed) {
				continue
			}
			for _, s := range stale(parsed) {
				t.Errorf("%s: the comment of %s begins with %s", fset.Position(s.at), s.name, s.says)
			}
		}
	}
}

type staleComment struct {
	at         token.Pos
	name, says string
}

// identifier is what looks like a name rather than a word: a capital inside, or one
// at the start where the whole is followed by a verb.
var identifier = regexp.MustCompile(`^[A-Za-z]\w*$`)

// stale returns the doc comments of a file whose first word names something else.
func stale(f *ast.File) []staleComment {
	var out []staleComment
	check := func(doc *ast.CommentGroup, at token.Pos, exported bool, names ...string) {
		if doc == nil || len(names) == 0 {
			return
		}
		first, rest, _ := strings.Cut(strings.TrimSpace(doc.Text()), " ")
		if !identifier.MatchString(first) || !strings.ContainsFunc(first[1:], func(r rune) bool { return r >= 'A' && r <= 'Z' }) && !exported {
			return // a word of a sentence
		}
		if first == strings.ToUpper(first) && len(first) > 1 || article[first] || rest == "" {
			return
		}
		for _, n := range names {
			if first == n {
				return
			}
		}
		out = append(out, staleComment{at, strings.Join(names, ", "), first})
	}
	for _, d := range f.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			check(d.Doc, d.Pos(), d.Name.IsExported(), d.Name.Name)
		case *ast.GenDecl:
			for _, s := range d.Specs {
				doc := d.Doc
				switch s := s.(type) {
				case *ast.TypeSpec:
					if s.Doc != nil {
						doc = s.Doc
					}
					if len(d.Specs) == 1 || s.Doc != nil {
						check(doc, s.Pos(), s.Name.IsExported(), s.Name.Name)
					}
				case *ast.ValueSpec:
					if len(d.Specs) > 1 {
						continue // the comment is of the group, or of several fields
					}
					var names []string
					exported := false
					for _, n := range s.Names {
						names, exported = append(names, n.Name), exported || n.IsExported()
					}
					check(doc, s.Pos(), exported, names...)
				}
			}
		}
	}
	return out
}

// article begins comments in whole sentences.
var article = map[string]bool{"A": true, "An": true, "The": true, "These": true, "This": true, "Every": true, "What": true, "Where": true, "How": true, "Deprecated:": true}

func TestStaleCommentsAreFound(t *testing.T) {
	const source = `package p

// Old returns one.
func New() int { return 1 }

// Kind is one.
type Kind int

// The limits.
const Most = 1

// oldName is two.
var newName = 2

// slow walks.
func quick() {}
`
	f, err := parser.ParseFile(token.NewFileSet(), "p.go", source, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range stale(f) {
		got = append(got, s.name+" by "+s.says)
	}
	if want := "New by Old, newName by oldName"; strings.Join(got, ", ") != want {
		t.Errorf("found %q, want %q", got, want)
	}
}
