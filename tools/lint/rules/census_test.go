package rules_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"proofload/specdata/demo"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

var update = flag.Bool("update", false, "write the census")

// TestCensus counts, for every rule, the records of the demo library it looked at,
// those it could not judge and its findings, so that a change that moves any of
// them is a line in a review.
func TestCensus(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Date: ruletest.Date})
	if err != nil {
		t.Fatal(err)
	}
	findings, skipped := map[string]int{}, map[string]int{}
	for _, f := range rep.Findings {
		findings[f.Rule]++
	}
	for _, n := range rep.NotChecked {
		skipped[n.Rule]++
	}
	var got bytes.Buffer
	fmt.Fprintf(&got, "%-38s %8s %12s %9s\n", fmt.Sprintf("demo library, %d records", rep.Records), "applied", "not checked", "findings")
	for _, r := range rules.All {
		fmt.Fprintf(&got, "%-38s %8d %12d %9d\n", r.Name, rep.Applied[r.Name], skipped[r.Name], findings[r.Name])
	}
	file := filepath.Join("testdata", "census.txt")
	if *update {
		if err := os.WriteFile(file, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Errorf("census differs from %s; if the change is meant run: go test ./tools/lint/rules -run TestCensus -update\n%s", file, got.Bytes())
	}
}
