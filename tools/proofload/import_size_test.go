package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"proofload/specdata/demo"
	"proofload/tools/bench/corpus"
)

// program builds the command line as it ships, once for all tests, and returns its path.
func program(t *testing.T) string {
	t.Helper()
	bin, err := buildOnce()
	if err != nil {
		t.Fatal(err)
	}
	return bin
}

var (
	buildDir  string
	buildOnce = sync.OnceValues(func() (string, error) {
		dir, err := os.MkdirTemp("", "proofload-test-*")
		if err != nil {
			return "", err
		}
		buildDir = dir
		bin := filepath.Join(dir, "proofload")
		if out, err := exec.Command("go", "build", "-trimpath", "-o", bin, ".").CombinedOutput(); err != nil {
			return "", fmt.Errorf("program does not build: %w\n%s", err, out)
		}
		return bin, nil
	})
)

// A folder of twenty thousand records goes into a store that holds more than a
// thousand others: what a store is asked for may not grow with what is imported.
func TestImportOfTwentyThousand(t *testing.T) {
	bin, dir := program(t), t.TempDir()
	write := func(name string, seed uint64, n int) *corpus.Corpus {
		c, err := corpus.New(demo.Files, seed)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(filepath.Join(dir, name), c.Folder(n)); err != nil {
			t.Fatal(err)
		}
		return c
	}
	old := write("old", 2, 1100).Round(1100)
	n := write("new", 1, 20000).Round(20000)
	for _, step := range []struct {
		folder, want string
	}{
		{"old", fmt.Sprintf("%d added, 0 changed, 0 withdrawn, 0 unchanged: published at position 1\n", old)},
		{"new", fmt.Sprintf("%d added, 0 changed, 0 withdrawn, 0 unchanged: published at position 2\n", n)},
		{"old", fmt.Sprintf("0 added, 0 changed, 0 withdrawn, %d unchanged: nothing to publish, the store is at position 2\n", old)},
	} {
		cmd := exec.Command(bin, "import", step.folder, "--store", "sqlite:store.db", "--create", "--by", "Maud Ibbot", "--reviewer", "Piet Oram", "--reason", "generated", "--date", "2026-12-01")
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		if err != nil || !strings.Contains(string(out), step.want) {
			t.Fatalf("import of %s: %v\n%s\nwant %s", step.folder, err, out[max(0, len(out)-2000):], step.want)
		}
	}
}
