package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"proofload/tools/faultbench/measure"
)

var update = flag.Bool("update", false, "write the golden files")

// The table of a small run is in a golden file, so that a rule that stops
// catching a kind of slip, or starts to cry wolf, is a line in a review. One
// processor and all of them give the same table.
func TestTable(t *testing.T) {
	table := func(processors int) []byte {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		var b bytes.Buffer
		if err := run(context.Background(), []string{"-n", "3", "-variations", "1"}, &b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	one, all := table(1), table(runtime.NumCPU())
	if !bytes.Equal(one, all) {
		t.Fatal("the same seed gave two tables")
	}
	golden := filepath.Join("testdata", "table.txt")
	if *update {
		if err := os.WriteFile(golden, one, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatalf("%v; run go test ./tools/faultbench -update", err)
	}
	if !bytes.Equal(one, want) {
		t.Errorf("table changed; compare and run go test ./tools/faultbench -update\n%s", one)
	}
}

// TestGoals holds a small run to the goals: what they are short of is named here,
// and nothing else may be.
func TestGoals(t *testing.T) {
	var b bytes.Buffer
	if err := run(context.Background(), []string{"-n", "5", "-variations", "1", "-seed", "3", "-json"}, &b); err != nil {
		t.Fatal(err)
	}
	var rep measure.Report
	if err := json.Unmarshal(b.Bytes(), &rep); err != nil {
		t.Fatal(err)
	}
	if rep.Clean.Alarmed*1000 > rep.Clean.Records {
		t.Errorf("false alarms on %d of %d untouched records, goal at most 0.1 %%: %v", rep.Clean.Alarmed, rep.Clean.Records, rep.Clean.Alarms)
	}
	if c := rep.Total; c.AsCorrection*100 < c.Changed*99 {
		t.Errorf("%d of %d slips that change meaning are caught as corrections, goal 99 %%", c.AsCorrection, c.Changed)
	}
	for _, r := range rep.Rows {
		if r.Changed >= 5 && r.AsCorrection*100 < r.Changed*80 {
			t.Errorf("%s: %d of %d caught as corrections", r.Kind, r.AsCorrection, r.Changed)
		}
	}
}

func TestUsage(t *testing.T) {
	if err := run(context.Background(), []string{"-n", "0"}, &bytes.Buffer{}); err == nil {
		t.Error("-n 0 is taken")
	}
}
