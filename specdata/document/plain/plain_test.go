package plain_test

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
	"pgregory.net/rapid"

	"proofload/specdata"
	"proofload/specdata/document/plain"
	"proofload/specdata/document/scalar"
)

var limits = plain.Limits{Depth: 64, Keys: 10_000, Values: 20_000, Items: 1_000, String: 64 << 10}

// library returns the tokens of a text as the YAML library reads it, and an error for
// what a record may not hold: anchors, aliases, tags, merge keys, a second document, a
// key twice, a scalar that readers differ about.
func library(data []byte) ([]plain.Token, error) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	if err := dec.Decode(&doc); err != nil {
		return nil, err
	}
	if err := dec.Decode(&second); err != io.EOF {
		return nil, fmt.Errorf("a second document, or %v", err)
	}
	var out []plain.Token
	err := walk(doc.Content[0], &out)
	return out, err
}

func walk(n *yaml.Node, out *[]plain.Token) error {
	if n.Anchor != "" || n.Kind == yaml.AliasNode || n.Style&yaml.TaggedStyle != 0 {
		return fmt.Errorf("line %d: anchor, alias or tag", n.Line)
	}
	t := plain.Token{Line: int32(n.Line), Column: int32(n.Column)}
	switch n.Kind {
	case yaml.SequenceNode:
		t.Kind, t.Len = scalar.List, int32(len(n.Content))
	case yaml.MappingNode:
		t.Kind, t.Len = scalar.Object, int32(len(n.Content)/2)
	default:
		t.Kind, t.Text = scalar.Text, n.Value
		if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) == 0 {
			t.Kind = scalar.Meaning(n.Value)
		}
		if t.Kind == scalar.Unclear {
			return fmt.Errorf("line %d: %s is unclear", n.Line, n.Value)
		}
	}
	*out = append(*out, t)
	seen := map[string]bool{}
	for i, c := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 0 {
			if c.Kind != yaml.ScalarNode || c.Tag != "!!str" || seen[c.Value] {
				return fmt.Errorf("line %d: %s is no key, or is there twice", c.Line, c.Value)
			}
			seen[c.Value] = true
			*out = append(*out, plain.Token{Kind: plain.Key, Line: int32(c.Line), Column: int32(c.Column), Text: c.Value})
			continue
		}
		if err := walk(c, out); err != nil {
			return err
		}
	}
	return nil
}

// agree fails where the reader takes a text that the library reads as something else.
func agree(t interface {
	Helper()
	Fatalf(string, ...any)
}, data []byte) (took bool) {
	t.Helper()
	if _, _, unseen := specdata.Unseen(data); unseen || !utf8.Valid(data) {
		return false // package document refuses these before
	}
	got, ok := plain.Read(string(data), limits)
	if !ok {
		return false
	}
	want, err := library(data)
	if err != nil {
		t.Fatalf("the reader takes what the library refuses: %v\n%s", err, data)
	}
	if !reflect.DeepEqual(got.Tokens, want) {
		t.Fatalf("the reader returns\n%v\nthe library\n%v\nof\n%s", got.Tokens, want, data)
	}
	for _, c := range got.Comments {
		line := strings.Split(string(data), "\n")[c.Line-1]
		if line[c.Offset] != '#' || strings.TrimSpace(line[c.Offset+1:]) != c.Text {
			t.Fatalf("comment %v is not in line %q", c, line)
		}
	}
	return true
}

func TestTrickyText(t *testing.T) {
	for text, want := range tricky(t) {
		if got := agree(t, []byte(text)); got != want {
			t.Errorf("%q: the reader takes it: %v, want %v", text, got, want)
		}
	}
}

func tricky(t testing.TB) map[string]bool {
	b, err := os.ReadFile("testdata/tricky.txt")
	if err != nil {
		t.Fatal(err)
	}
	texts := map[string]bool{}
	for _, line := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		if line[0] == '#' {
			continue
		}
		text, err := strconv.Unquote(line[2:])
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		texts[text] = line[0] == '+'
	}
	return texts
}

func demo(t testing.TB) []string {
	var texts []string
	files, err := fs.Glob(os.DirFS("../../demo"), "*/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal("demo library is empty", err)
	}
	for _, f := range files {
		b, err := fs.ReadFile(os.DirFS("../../demo"), f)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(b))
	}
	return texts
}

func TestDemo(t *testing.T) {
	texts, n := demo(t), 0
	for _, text := range texts {
		if agree(t, []byte(text)) {
			n++
		}
	}
	if n*100 < len(texts)*95 {
		t.Errorf("the reader takes %d of %d demo files; it is of no use below 95 %%", n, len(texts))
	}
}

// Text made of the pieces of YAML in any order is where a reader of its own mind would
// part from the library.
func TestRandomText(t *testing.T) {
	piece := rapid.SampledFrom([]string{"a", "b", "key", "12", "0", "2 mm", "true", "null", "yes", "é", "’", ": ", ":", " ", "  ", "\n", "\n  ", "\n    ", "\n- ", "\n  - ", "- ", "#", " # ", "{", "}", "[", "]", ", ", "'", "\"", "?", "|", ">", "&a ", "*a", "!", "%", "@", "~", "---\n", "<<"})
	taken := 0
	rapid.Check(t, func(t *rapid.T) {
		text := "a: " + strings.Join(rapid.SliceOfN(piece, 1, 14).Draw(t, "pieces"), "")
		if agree(t, []byte(text)) {
			taken++
		}
	})
	t.Logf("the reader took %d", taken)
}

// The limits hold: beyond keys and values the place is returned, beyond the others the
// full reader decides.
func TestLimits(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		lim        plain.Limits
		ok, over   bool
	}{
		{"within", "a: [b, c]\n", plain.Limits{Depth: 2, Keys: 1, Values: 4, Items: 2, String: 1}, true, false},
		{"values", "a: [b, c]\n", plain.Limits{Depth: 2, Keys: 1, Values: 3, Items: 2, String: 1}, true, true},
		{"keys", "a: b\nc: d\n", plain.Limits{Depth: 2, Keys: 1, Values: 9, Items: 2, String: 1}, true, true},
		{"items", "a: [b, c]\n", plain.Limits{Depth: 2, Keys: 1, Values: 4, Items: 1, String: 1}, false, false},
		{"items of a block", "a:\n- b\n- c\n", plain.Limits{Depth: 2, Keys: 1, Values: 4, Items: 1, String: 1}, false, false},
		{"depth", "a: [b, c]\n", plain.Limits{Depth: 1, Keys: 1, Values: 4, Items: 2, String: 1}, false, false},
		{"string", "a: bc\n", plain.Limits{Depth: 2, Keys: 1, Values: 4, Items: 2, String: 1}, false, false},
		{"quoted string", "a: 'bc'\n", plain.Limits{Depth: 2, Keys: 1, Values: 4, Items: 2, String: 1}, false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, ok := plain.Read(tt.text, tt.lim)
			if ok != tt.ok || got.Over != tt.over || got.Over && (got.Tokens != nil || got.Line == 0) {
				t.Errorf("Read returns %+v, %v", got, ok)
			}
		})
	}
}

func FuzzRead(f *testing.F) {
	for text := range tricky(f) {
		f.Add([]byte(text))
	}
	for _, text := range demo(f)[:20] {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) { agree(t, data) })
}
