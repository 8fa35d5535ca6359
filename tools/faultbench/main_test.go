package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files")

// The table of a small run stands in a golden file, so that a rule that stops
// catching a kind of slip, or starts to cry wolf, is a line in a review.
func TestTable(t *testing.T) {
	var one, two bytes.Buffer
	if err := run(context.Background(), []string{"-n", "4"}, &one); err != nil {
		t.Fatal(err)
	}
	if err := run(context.Background(), []string{"-n", "4"}, &two); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Fatal("the same seed gave two tables")
	}
	golden := filepath.Join("testdata", "table.txt")
	if *update {
		if err := os.WriteFile(golden, one.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatalf("%v; run go test ./tools/faultbench -update", err)
	}
	if !bytes.Equal(one.Bytes(), want) {
		t.Errorf("table changed; compare and run go test ./tools/faultbench -update\n%s", one.Bytes())
	}
}
