package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proofload/specdata/demo"
)

// wordless is the demo library without one sentence of a step, in a folder.
func wordless(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, demo.Files); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(dir, "procedures", "*.yaml"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d procedures: %v", len(files), err)
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		head, steps, found := strings.Cut(string(b), "\nsteps:\n")
		if !found {
			t.Fatalf("%s has no steps", file)
		}
		var kept []string
		text := false
		for _, line := range strings.Split(steps, "\n") {
			if text = strings.HasPrefix(line, "    text: ") || text && strings.HasPrefix(line, "      "); !text {
				kept = append(kept, line)
			}
		}
		if err := os.WriteFile(file, []byte(head+"\nsteps:\n"+strings.Join(kept, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// Steps without a sentence get one wherever they are read, and lint has nothing to say
// of the sentences that are composed.
func TestStepsWithoutSentences(t *testing.T) {
	dir := wordless(t)
	said := demand(t, 0, "records: ", "lint", dir)
	if strings.Contains(said, "error") || strings.Contains(said, "warning") || strings.Contains(said, "advice") {
		t.Errorf("composed sentences are found wanting:\n%s", said)
	}
	const id = "quill-1-rear-hub-bearing"
	for _, args := range [][]string{
		{"run", id, "--library", dir},
		{"show", id, "--library", dir},
		{"sheet", id, "--library", dir, "--date", "2026-12-01", "-o", filepath.Join(dir, "sheet.html"), "--side", "left"},
		{"narration", "script", "--procedure", id, "--library", dir},
	} {
		code, said := proofload(t, args...)
		if b, err := os.ReadFile(filepath.Join(dir, "sheet.html")); err == nil {
			said += string(b)
		}
		if code != 0 || !strings.Contains(said, "ighten the two rear caliper carrier bolts to") {
			t.Errorf("proofload %s: exit %d; it does not say the composed sentence:\n%.3000s", strings.Join(args, " "), code, said)
		}
		os.Remove(filepath.Join(dir, "sheet.html"))
	}
}
