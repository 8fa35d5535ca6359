package corpus_test

import (
	"bytes"
	"context"
	"io/fs"
	"maps"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/bench/corpus"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

func of(t *testing.T, seed uint64) *corpus.Corpus {
	t.Helper()
	c, err := corpus.New(demo.Files, seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Both forms of a copy are the same records, and the rules find wrong in it what they
// find wrong in the original. Advice may differ: siblings are looked for beyond the copy.
func TestCopies(t *testing.T) {
	original, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	c := of(t, 1)
	const copies = 3
	n := copies*original.Len() - 5
	lib, err := c.Library(n)
	if err != nil {
		t.Fatal(err)
	}
	if want := copies * original.Len(); lib.Len() != want || c.Round(n) != want || len(c.Names(n)) != want {
		t.Fatalf("%d records, Round %d, %d names; want %d", lib.Len(), c.Round(n), len(c.Names(n)), want)
	}
	for _, name := range c.Names(n) {
		if lib.Get(name) == nil {
			t.Fatalf("Names has %s, the library does not", name)
		}
	}
	folder, findings, err := library.ReadFolder(c.Folder(n), "")
	if err != nil || len(findings) > 0 {
		t.Fatalf("folder: %v %v", err, findings)
	}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			f := folder.Get(e.Name())
			if f == nil || f.Hash != e.Hash {
				t.Fatalf("%s differs between the folder and the documents", e.Name())
			}
		}
	}
	once, thrice := findingsOf(t, original), findingsOf(t, lib)
	for rule := range once {
		once[rule] *= copies
	}
	if !maps.Equal(once, thrice) {
		t.Errorf("%d copies have findings %v; want %v", copies, thrice, once)
	}
}

func findingsOf(t *testing.T, lib library.Library) map[string]int {
	t.Helper()
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Date: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	n := map[string]int{}
	for _, f := range rep.Findings {
		if f.Severity != specdata.Advice {
			n[f.Rule]++
		}
	}
	return n
}

func TestSeed(t *testing.T) {
	all := func(seed uint64) []byte {
		var b []byte
		for _, text := range of(t, seed).Documents(1) {
			b = append(b, text...)
		}
		return b
	}
	if !bytes.Equal(all(1), all(1)) {
		t.Error("one seed gives two libraries")
	}
	if bytes.Equal(all(1), all(2)) {
		t.Error("two seeds give one library")
	}
}

func TestNew(t *testing.T) {
	sub, err := fs.Sub(demo.Files, "vehicles")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := corpus.New(sub, 1); err == nil {
		t.Error("a folder that is no library is accepted")
	}
}
