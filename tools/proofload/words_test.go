package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proofload/server/store/sqlite"
	"proofload/server/transfer"
	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
)

// A library's own words are read in sentences and narrations, and go with it into a store
// and out of it again.
func TestOwnWords(t *testing.T) {
	t.Cleanup(func() { lexicon.SetDefault(nil) })
	dir := filepath.Join(t.TempDir(), "library")
	if err := os.CopyFS(dir, demo.Files); err != nil {
		t.Fatal(err)
	}
	marker := filepath.Join(dir, "proofload.yaml")
	b, err := os.ReadFile(marker)
	if err != nil {
		t.Fatal(err)
	}
	with := func(words string) {
		if err := os.WriteFile(marker, []byte(string(b)+words), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	with("words:\n  wheel-nut: [gubbin]\n  impact-wrench: [thunderstick]\n")
	const file = "procedures/quill-1-rear-hub-bearing.yaml"
	said := edit(t, filepath.Join(dir, file), "Slacken the wheel nuts", "Slacken the three gubbins")
	if err := os.Rename(said, filepath.Join(dir, file)); err != nil {
		t.Fatal(err)
	}
	demand(t, exitFindings, `says "three" and the record has 4`, "lint", filepath.Join(dir, file))
	spoken := filepath.Join(dir, "n.txt")
	if err := os.WriteFile(spoken, []byte("[0:01] Hit the gubbins with the thunderstick, to one-forty newton metres.\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	out := demand(t, exitFindings, "it is the wheel nut", "narration", "check", "--library", dir, "--procedure", "quill-1-rear-hub-bearing", "--side", "left", spoken)
	if !strings.Contains(out, "thunderstick") {
		t.Errorf("the impact wrench by its own name is not seen:\n%s", out)
	}
	with("words:\n  wheel-nut: [\"a=b\"]\n")
	demand(t, exitFindings, "proofload.yaml", "lint", dir)

	with("words:\n  wheel-nut: [gubbin]\n")
	back := edit(t, filepath.Join(dir, file), "Slacken the three gubbins", "Slacken the gubbins")
	if err := os.Rename(back, filepath.Join(dir, file)); err != nil {
		t.Fatal(err)
	}
	db := filepath.Join(t.TempDir(), "own.db")
	demand(t, exitClean, "published at position 1", "import", dir, "--by", "maud", "--reason", "own words", "--store", "sqlite:"+db, "--create")
	s, err := sqlite.Open(t.Context(), db, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	words, err := transfer.Words(t.Context(), s)
	if err != nil || len(words["wheel-nut"]) != 1 {
		t.Errorf("the store keeps %v (%v)", words, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "again")
	demand(t, exitClean, " records as of position 1", "export", again, "--store", "sqlite:"+db)
	if b, err := os.ReadFile(filepath.Join(again, "proofload.yaml")); err != nil || !strings.Contains(string(b), "gubbin") {
		t.Errorf("the export's marker is %q (%v)", b, err)
	}
}
