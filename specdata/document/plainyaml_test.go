package document

import (
	"fmt"
	"io/fs"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// both reads text with the quick YAML reader and with the full one and fails when
// the quick one says anything that the full one does not say.
func both(t interface {
	Helper()
	Fatalf(string, ...any)
}, data []byte) (quick bool) {
	t.Helper()
	r := &reader{}
	if !r.scan(data) || r.unseen(data) {
		return false
	}
	root, comments, ok := r.plain(data)
	if !ok {
		return false
	}
	full := &reader{}
	fullRoot, fullComments := full.fullYAML(data)
	if r.partial {
		if !full.partial && len(full.findings) == 0 {
			t.Fatalf("quick reader finds it over the limits, full reader does not\n%s", data)
		}
		return true
	}
	if len(full.findings) > 0 {
		t.Fatalf("quick reader takes what the full reader refuses: %v\n%s", full.findings, data)
	}
	if a, b := dump(root), dump(fullRoot); a != b {
		t.Fatalf("quick reader gives\n%s\nfull reader\n%s\nof\n%s", a, b, data)
	}
	if !reflect.DeepEqual(comments, fullComments) && len(comments)+len(fullComments) > 0 {
		t.Fatalf("quick reader finds the comments %v, full reader %v\n%s", comments, fullComments, data)
	}
	return true
}

func demoFiles(t testing.TB) map[string]string {
	out := map[string]string{}
	demo := os.DirFS("../demo") // the package imports this one
	files, err := fs.Glob(demo, "*/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal("demo library is empty", err)
	}
	for _, f := range files {
		b, err := fs.ReadFile(demo, f)
		if err != nil {
			t.Fatal(err)
		}
		out[f] = string(b)
	}
	return out
}

func TestPlainYAMLAgreesOnTheDemo(t *testing.T) {
	n := 0
	files := demoFiles(t)
	for _, text := range files {
		if both(t, []byte(text)) {
			n++
		}
	}
	if n*100 < len(files)*95 {
		t.Errorf("quick reader reads %d of %d demo files; it is of no use below 95 %%", n, len(files))
	}
}

// tricky holds places where YAML surprises. Whether the quick reader takes a text
// is stated where giving up would cost much or taking it would be wrong.
var tricky = []struct {
	text  string
	quick bool
}{
	{"a: b\n", true},
	{"a: b", true},
	{"a:\n  b: c\n", true},
	{"a:\n- b\n- c\n", true},
	{"a:\n  - b\n  - c: d\n    e: f\n", true},
	{"a: {b: c, d: [e, f]}\n", true},
	{"a: {b: c:d, e: f#g}\n", true},
	{"a: b # c\n# d\n\n  # e\nf: g\n", true},
	{"a: \"b # c\" # d\n", true},
	{"a: 'it''s'\n", true},
	{"a: 240 N.m\nb: 9/16 in\nc: 10 %\n", true},
	{"a: é ä # ü\nb: {c: é, d: e}\n", true},
	{"a: []\nb: {}\n", true},
	{"a: (b)\nc: /d/e\n", true},
	{"a: b#c\n", true},
	{"a: b:c\n", true},
	{"a: b ? c\n", true},
	{"a:   b   \n", true},
	{"a: b\n ", true},
	{"a: b\n#", true},
	{"a: 12\nb: true\n", true},
	{"a: b\n  c\n", false},
	{"a:\n", false},
	{"a: null\n", false},
	{"a: 010\n", false},
	{"a: yes\n", false},
	{"a: b\na: c\n", false},
	{"a: |\n  b\n", false},
	{"a: >\n  b\n", false},
	{"a: \"b\\n\"\n", false},
	{"a: \"b\n  c\"\n", false},
	{"a: &b c\n", false},
	{"a: *b\n", false},
	{"a: !b c\n", false},
	{"a: b: c\n", false},
	{"a: {b: c,}\n", false},
	{"a: {b}\n", false},
	{"a: {b: c\n  }\n", false},
	{"a: [b: c]\n", false},
	{"a: [b,, c]\n", false},
	{"a: {b:c}\n", false},
	{"a: {\"b\": c}\n", false},
	{"a: b\n\tc: d\n", false},
	{"a: b\n---\nc: d\n", false},
	{"--- \na: b\n", false},
	{"a: b\n...\n", false},
	{"- a\n- b\n", false},
	{" a: b\n", false},
	{"a:\n   b: c\n  d: e\n", false},
	{"a:\n- b\n  - c\n", false},
	{"a:\n  - - b\n", false},
	{"a:\n  -\n    b: c\n", true},
	{"a:\n  -\n  b\n", false},
	{"a:b\n", false},
	{"a\n", false},
	{"on: a\n", false},
	{"1: a\n", false},
	{"a: b\r\nc: d\r\n", false},
	{"a: b\u0085c: d\n", false},
	{"a: b\u2028c\n", false},
	{"a: -\n", false},
	{"a: - b\n", false},
	{"a: b\n- c\n", false},
	{"a: ,\n", false},
	{"a: {b: [c}]\n", false},
	{"a: {b: c} d\n", false},
	{"a: 'b' c\n", false},
	{"a: b'\n", true},
	{"a: b\"c\n", true},
	{"a: b{c}\n", true},
	{"a: [b{c}]\n", false},
	{"a: [b?]\n", false},
	{"a: {b: c }\n", true},
	{"a: { b: c }\n", true},
	{"a: [ b , c ]\n", true},
	{"a: {b: 'c', d: \"e, f\"}\n", true},
	{"a: {b: c}# d\n", false},
	{"a: 'b'# c\n", false},
	{"a: # b\n  c: d\n", true},
	{"a: # b\n  c\n", false},
	{"a:\n  - # b\n    c: d\n", true},
	{"a:\n  - b # c\n  # d\n  - e\n", true},
	{"a: 2026-09-14\n", true},
	{"a: 2026-09-14 00:00:00\n", true},
	{"a: {b: }\n", false},
	{"a: {? b}\n", false},
	{"a: ? b\n", false},
	{"a: %b\n", false},
	{"a: @b\n", false},
	{"a: `b\n", false},
	{"a: ~\n", false},
	{"a: b\\c\n", true},
	{"a: <<\n", false},
	{"<<: {a: b}\n", false},
}

func TestPlainYAMLAgreesOnTrickyText(t *testing.T) {
	for _, tt := range tricky {
		if got := both(t, []byte(tt.text)); got != tt.quick {
			t.Errorf("%q: quick reader takes it: %v, want %v", tt.text, got, tt.quick)
		}
	}
}

// Documents with a few characters changed are where a reader of its own mind would
// part from the library.
func TestPlainYAMLAgreesOnDamagedText(t *testing.T) {
	files := demoFiles(t)
	names := make([]string, 0, len(files))
	for name, text := range files {
		if len(text) < 2500 {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	rapid.Check(t, func(t *rapid.T) {
		text := files[rapid.SampledFrom(names).Draw(t, "file")]
		for range rapid.IntRange(1, 4).Draw(t, "edits") {
			i := rapid.IntRange(0, len(text)).Draw(t, "at")
			cut := rapid.IntRange(0, min(3, len(text)-i)).Draw(t, "cut")
			put := rapid.SampledFrom([]string{"", " ", "  ", "\n", "#", " #", ":", ": ", "-", "- ", "\"", "'", ",", "[", "]", "{", "}", "?", "? ", "|", ">", "&a ", "*a", "!", "%", "@", "\\", "~", "0", "é", "\u00a0", "\t", "a", "null", "---\n", "# x\n", "\n    ", "\n- "}).Draw(t, "put")
			text = text[:i] + put + text[i+cut:]
		}
		both(t, []byte(text))
	})
}

func FuzzPlainYAML(f *testing.F) {
	for _, tt := range tricky {
		f.Add([]byte(tt.text))
	}
	for _, text := range demoFiles(f) {
		if len(text) < 1000 {
			f.Add([]byte(text))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) { both(t, data) })
}

// dump writes a tree with every place in it.
func dump(n *node) string {
	var b strings.Builder
	var walk func(n *node, indent string)
	walk = func(n *node, indent string) {
		fmt.Fprintf(&b, "%d:%d %d %q\n", n.line, n.column, n.kind, n.text)
		for _, v := range n.items {
			b.WriteString(indent + "- ")
			walk(v, indent+"  ")
		}
		for _, m := range n.members {
			fmt.Fprintf(&b, "%s%q %d:%d ", indent, m.key, m.line, m.column)
			walk(m.value, indent+"  ")
		}
	}
	walk(n, "")
	return b.String()
}
