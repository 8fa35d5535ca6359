package document

import (
	"fmt"
	"io/fs"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// both reads text with the fast YAML reader and with the full one and fails when
// the fast one says anything that the full one does not say.
func both(t interface {
	Helper()
	Fatalf(string, ...any)
}, data []byte) (fast bool) {
	t.Helper()
	r := &reader{}
	if !r.scan(data) || r.unseen(data) {
		return false
	}
	root, comments, ok := r.fast(data)
	if !ok {
		return false
	}
	full := &reader{}
	fullRoot, fullComments := full.fullYAML(data)
	if r.partial {
		if !full.partial && len(full.findings) == 0 {
			t.Fatalf("fast reader finds it over the limits, full reader does not\n%s", data)
		}
		return true
	}
	if len(full.findings) > 0 {
		t.Fatalf("fast reader takes what the full reader refuses: %v\n%s", full.findings, data)
	}
	if a, b := dump(root), dump(fullRoot); a != b {
		t.Fatalf("fast reader returns\n%s\nfull reader\n%s\nof\n%s", a, b, data)
	}
	if !reflect.DeepEqual(comments, fullComments) && len(comments)+len(fullComments) > 0 {
		t.Fatalf("fast reader finds the comments %v, full reader %v\n%s", comments, fullComments, data)
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

func TestFastAgreesOnTheDemo(t *testing.T) {
	n := 0
	files := demoFiles(t)
	for _, text := range files {
		if both(t, []byte(text)) {
			n++
		}
	}
	if n*100 < len(files)*95 {
		t.Errorf("fast reader reads %d of %d demo files; it is of no use below 95 %%", n, len(files))
	}
}

// tricky returns the texts that package plain is tested on.
func tricky(t testing.TB) []string {
	b, err := os.ReadFile("plain/testdata/tricky.txt")
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, line := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		if line[0] == '#' {
			continue
		}
		text, err := strconv.Unquote(line[2:])
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		texts = append(texts, text)
	}
	return texts
}

func TestFastAgreesOnTrickyText(t *testing.T) {
	for _, text := range tricky(t) {
		both(t, []byte(text))
	}
}

// Documents with a few characters changed are where a reader of its own mind would
// part from the library.
func TestFastAgreesOnDamagedText(t *testing.T) {
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

func FuzzFast(f *testing.F) {
	for _, text := range tricky(f) {
		f.Add([]byte(text))
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
