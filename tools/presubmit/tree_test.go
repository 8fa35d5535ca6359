package presubmit

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const root = "../.."

// The owner's list: no other folder is at the top.
var topLevel = []string{"api", "proto", "server", "schema", "specdata", "tools", "testdata", "README.md", "DEVELOPERS.md", "go.mod", "go.sum", "Makefile"}

func TestTopLevel(t *testing.T) {
	for _, f := range trackedFiles(t) {
		top, _, _ := strings.Cut(f, "/")
		if !strings.HasPrefix(top, ".") && !slices.Contains(topLevel, top) {
			t.Errorf("%s stands outside the agreed top level %v", f, topLevel)
		}
	}
}

// A file that cannot be read in one sitting gets reviewed in none.
const maxLines = 600

// What https://go.dev/s/generatedcode says a generated file holds.
var generated = regexp.MustCompile(`(?m)^// Code generated .* DO NOT EDIT\.$`)

func TestSourceFiles(t *testing.T) {
	for _, f := range trackedFiles(t) {
		if filepath.Ext(f) != ".go" {
			continue
		}
		b, err := os.ReadFile(filepath.Join(root, f))
		if err != nil {
			t.Fatal(err)
		}
		if generated.Match(b) {
			continue
		}
		if n := bytes.Count(b, []byte("\n")); n > maxLines {
			t.Errorf("%s has %d lines; split it below %d", f, n, maxLines)
		}
		base := filepath.Base(filepath.Dir(f))
		if slices.Contains([]string{"util", "utils", "common", "helpers", "types", "manager", "misc"}, base) {
			t.Errorf("%s lies in a package named %s, which says nothing; name it for what it has", f, base)
		}
		if !strings.HasSuffix(f, "_test.go") && bytes.Contains(b, []byte("func init()")) {
			t.Errorf("%s registers through init; declare a value and list it", f)
		}
	}
}

func trackedFiles(t *testing.T) []string {
	t.Helper()
	// Files not yet tracked count too: they are what the next commit adds.
	cmd := exec.Command("git", "ls-files", "-co", "--exclude-standard")
	cmd.Dir = root
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("git ls-files: %v", err)
	}
	var files []string
	for f := range strings.Lines(string(out)) {
		f = strings.TrimSuffix(f, "\n")
		if _, err := os.Stat(filepath.Join(root, f)); err == nil {
			files = append(files, f)
		}
	}
	return files
}
