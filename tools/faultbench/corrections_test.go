package main

import (
	"bytes"
	"context"
	"os"
	"testing"

	"proofload/specdata/demo"
	"proofload/tools/faultbench/corrections"
	"proofload/tools/lint/rules"
)

// TestCorrections counts what the rules say of right and of wrong changes, the wrong
// ones misread in a newly cited document, which the quote then bears out. The table
// is committed, so that a rule that stops telling them apart is a line in a review.
func TestCorrections(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	changes, err := corrections.Make(1, lib, 60)
	if err != nil {
		t.Fatal(err)
	}
	table, err := corrections.Judge(context.Background(), lib, rules.All, changes)
	if err != nil {
		t.Fatal(err)
	}
	if table.Rights < 400 || table.Slips < 400 {
		t.Errorf("%d right and %d wrong changes; at least 400 of each", table.Rights, table.Slips)
	}
	var b bytes.Buffer
	if err := table.Text(&b); err != nil {
		t.Fatal(err)
	}
	const file = "testdata/corrections.txt"
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := read(t, file); b.String() != want {
		t.Errorf("table differs from %s; if the change is meant run: go test ./tools/faultbench -run TestCorrections -update\n%s", file, b.String())
	}
}
