package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// TestCorrectRecords runs all rules over records that are right: ordinary fasteners
// of kinds that the demo library lacks, written from trade knowledge before any rule
// was run on them. What the rules say of them is a false alarm. A third (the ids of
// correct_held.txt) was looked at only after the rules had been changed for the rest.
// Values are common practice of the trade for such joints, and invented.
func TestCorrectRecords(t *testing.T) {
	lib, findings, err := library.ReadFolder(os.DirFS("testdata/correct"), "correct")
	if err != nil || len(findings) > 0 {
		t.Fatalf("corpus cannot be read: %v %v", err, findings)
	}
	held := strings.Fields(read(t, "testdata/correct_held.txt"))
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Date: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	type side struct {
		records map[specdata.Name]bool
		counts  map[specdata.Severity]map[specdata.Name]bool
		lines   []string
	}
	sides := map[string]*side{}
	for _, name := range []string{"tuned", "held"} {
		sides[name] = &side{map[specdata.Name]bool{}, map[specdata.Severity]map[specdata.Name]bool{}, nil}
	}
	of := func(n specdata.Name) *side {
		if slices.Contains(held, strings.TrimPrefix(n.ID(), "orrin-5-")) {
			return sides["held"]
		}
		return sides["tuned"]
	}
	for e := range lib.All(specdata.KindFastener) {
		of(e.Name()).records[e.Name()] = true
	}
	for _, f := range rep.Findings {
		s := of(f.Record)
		if s.counts[f.Severity] == nil {
			s.counts[f.Severity] = map[specdata.Name]bool{}
		}
		s.counts[f.Severity][f.Record] = true
		s.lines = append(s.lines, fmt.Sprintf("  %s %s%s [%s]", f.Severity, f.Record.ID(), f.Pointer, f.Rule))
	}
	var got strings.Builder
	for _, name := range []string{"tuned", "held"} {
		s := sides[name]
		fmt.Fprintf(&got, "%s: %d correct records; with an error %d, a warning %d, advice %d\n", name, len(s.records), len(s.counts[lint.Error]), len(s.counts[lint.Warning]), len(s.counts[lint.Advice]))
		for _, l := range s.lines {
			got.WriteString(l + "\n")
		}
	}
	const file = "testdata/correct.txt"
	if *update {
		if err := os.WriteFile(file, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := read(t, file); got.String() != want {
		t.Errorf("false alarms differ from %s; if the change is meant run: go test ./tools/faultbench -run TestCorrectRecords -update\n%s", file, got.String())
	}
}

func read(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
