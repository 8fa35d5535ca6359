package main

import (
	"bytes"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// What is under api/ is what proto/ makes, byte for byte.
func TestGeneratedFilesAreFresh(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	want, err := generate(t.Context(), root)
	if err != nil {
		t.Fatal(err)
	}
	have, err := generated(root)
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(have)
	if names := slices.Sorted(maps.Keys(want)); !slices.Equal(names, have) {
		t.Errorf("api/ holds %v, proto/ makes %v; run go generate ./api/...", have, names)
	}
	for name, content := range want {
		b, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Error(err)
			continue
		}
		if !bytes.Equal(b, content) {
			t.Errorf("%s is not what proto/ makes; run go generate ./api/...", name)
		}
	}
}
