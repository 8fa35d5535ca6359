package rules_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
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
		t.Errorf("census differs from %s; if the change is meant run: go test ./tools/lint/rules -run TestCensus -update\n%s", file, moved(want, got.Bytes()))
	}
}

// moved lists what changed between two censuses, with the head of the columns: of a
// rule whose counts moved both lines, of one that came or went the one it has.
func moved(was, is []byte) string {
	before, after := byRule(was), byRule(is)
	head, _, _ := strings.Cut(string(is), "\n")
	out := []string{"  " + head}
	for _, name := range slices.Sorted(maps.Keys(union(before, after))) {
		if before[name] == after[name] {
			continue
		}
		for _, side := range []struct{ sign, line string }{{"- ", before[name]}, {"+ ", after[name]}} {
			if side.line != "" {
				out = append(out, side.sign+side.line)
			}
		}
	}
	return strings.Join(out, "\n")
}

func byRule(census []byte) map[string]string {
	lines := map[string]string{}
	for _, l := range strings.Split(strings.TrimSpace(string(census)), "\n") {
		name, _, _ := strings.Cut(l, " ")
		lines[name] = l
	}
	return lines
}

func union(a, b map[string]string) map[string]string {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}

func TestMovedSaysOnlyWhatChanged(t *testing.T) {
	const was = "demo library, 2 records applied\na-rule 1 0 0\nb-rule 2 0 0\nc-rule 3 0 0\n"
	const is = "demo library, 2 records applied\na-rule 1 0 0\nb-rule 2 0 1\nd-rule 4 0 0\n"
	const want = "  demo library, 2 records applied\n- b-rule 2 0 0\n+ b-rule 2 0 1\n- c-rule 3 0 0\n+ d-rule 4 0 0"
	if got := moved([]byte(was), []byte(is)); got != want {
		t.Errorf("moved:\n%s\nwant:\n%s", got, want)
	}
}
