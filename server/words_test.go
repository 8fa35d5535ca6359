package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/store/sqlite"
	"proofload/server/transfer"
	"proofload/specdata/lexicon"
)

// A server finds by the library's own words, which it reads from its store.
func TestOwnWordsAreSearched(t *testing.T) {
	t.Cleanup(func() { lexicon.SetDefault(nil) })
	file := filepath.Join(t.TempDir(), "own.db")
	r, err := launch(t.Context(), "--store", "sqlite:"+file)
	if err != nil {
		t.Fatal(err)
	}
	if x := doAt(t, r, "GET", "/v1/search?query=gubbin", ""); strings.Contains(string(x.body), "quill-1-wheel-nut") {
		t.Fatalf("a word of nobody is found: %s", x.body)
	}
	r.signals <- os.Interrupt
	if err := <-r.done; err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(t.Context(), file, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := transfer.KeepWords(t.Context(), s, map[string][]string{"wheel-nut": {"gubbin"}}, time.Now()); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r = start(t, "--store", "sqlite:"+file)
	if x := doAt(t, r, "GET", "/v1/search?query=gubbins", ""); !strings.Contains(string(x.body), "quill-1-wheel-nut") {
		t.Errorf("the library's own word finds nothing: %d %s", x.status, x.body)
	}
	if x := doAt(t, r, "POST", "/v1/narrations:check", `{"procedure":"procedures/quill-1-rear-hub-bearing","file":"a.txt","text":"[0:01] The gubbins go to one-forty newton metres."}`, "Content-Type", "application/json"); !strings.Contains(string(x.body), `"kind":"number"`) {
		t.Errorf("a narration in the library's own words is not read: %s", x.body)
	}
}
