package document

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// mutants is how many damaged documents the second reader is shown.
const mutants = 20_000

// Whatever is read here, a YAML 1.2 reader of another language (npm's yaml, strict, core
// schema) reads as the same values: records of the demo with a few characters changed.
func TestSecondReaderReadsTheSame(t *testing.T) {
	npm, err := filepath.Abs(filepath.Join("..", "..", "testdata", "npm"))
	if err != nil {
		t.Fatal(err)
	}
	_, noNode := exec.LookPath("node")
	if _, err := os.Stat(filepath.Join(npm, "node_modules", "yaml")); err != nil || noNode != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("no second YAML reader: npm ci --prefix testdata/npm")
		}
		t.Skip("YAML IS NOT HELD AGAINST A SECOND READER: npm ci --prefix testdata/npm")
	}
	files := demoFiles(t)
	var names []string
	for name, text := range files {
		if len(text) < 2500 {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	put := []string{"", " ", "  ", "\n", "#", " #", " # x", ":", ": ", "-", "- ", "\"", "'", ",", ", ", "[", "]", "{", "}", "?", "? ", "|", ">", "&a ", "*a", "!", "%", "@", "\\", "~", "0", "é",
		"\u00a0", "\t", "\r", "\r\n", "\u0085", "\u2028", "\u2029", "\u202e", "\u200b", "\ufeff", "a", "null", "yes", "---\n", "...\n", "# x\n", "\n    ", "\n- ", "|\n  a\n  b\n", ">-\n  a\n", "\"a\\n\"", "'a''b'", "0o14", "1_0", "1e3", ".5", "=", "<<: "}
	r := rand.New(rand.NewPCG(20261201, 1))
	var shown bytes.Buffer
	accepted := 0
	for range mutants {
		name := names[r.IntN(len(names))]
		text := files[name]
		for range 1 + r.IntN(3) {
			i := r.IntN(len(text) + 1)
			cut := r.IntN(min(3, len(text)-i) + 1)
			text = text[:i] + put[r.IntN(len(put))] + text[i+cut:]
		}
		reader := &reader{file: "x.yaml"}
		root, _ := reader.tree([]byte(text))
		if root == nil || len(reader.findings) > 0 {
			continue
		}
		canonical, err := root.canonical(nil)
		if err != nil {
			continue
		}
		accepted++
		line, err := json.Marshal([]string{text, string(canonical)})
		if err != nil {
			t.Fatal(err)
		}
		shown.Write(append(line, '\n'))
	}
	if accepted < mutants/20 {
		t.Fatalf("only %d of %d mutants are read at all", accepted, mutants)
	}
	cmd := exec.CommandContext(t.Context(), "node", "-e", secondReader)
	cmd.Dir, cmd.Stdin = npm, &shown
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if said := strings.TrimSpace(string(out)); said != "" {
		t.Errorf("of %d documents that are read here, a YAML 1.2 reader reads otherwise:\n%.4000s", accepted, said)
	}
	t.Logf("%d of %d mutants are read, and read the same", accepted, mutants)
}

// secondReader prints each document that it reads otherwise.
const secondReader = `
const yaml = require("yaml");
const same = (a, b) => {
  if (typeof a !== "object" || a === null || typeof b !== "object" || b === null) return Object.is(a, b);
  const x = Object.keys(a).sort(), y = Object.keys(b).sort();
  return Array.isArray(a) === Array.isArray(b) && x.length === y.length && x.every((k, i) => k === y[i] && same(a[k], b[k]));
};
for (const line of require("fs").readFileSync(0, "utf8").split("\n")) {
  if (line === "") continue;
  const [text, canonical] = JSON.parse(line);
  const doc = yaml.parseDocument(text, {version: "1.2", schema: "core", strict: true, uniqueKeys: true});
  if (doc.errors.length > 0) console.log("refused:", doc.errors[0].message.split("\n")[0], JSON.stringify(text.slice(0, 3000)));
  else if (!same(doc.toJS(), JSON.parse(canonical))) console.log("differs:", JSON.stringify(text), "here", canonical, "there", JSON.stringify(doc.toJS()));
}
`
