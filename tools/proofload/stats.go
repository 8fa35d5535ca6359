package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"time"

	"proofload/tools/lint"
	"proofload/tools/lint/render"
)

// printStats says what each rule did and how long it took, slowest first.
func printStats(w io.Writer, run *render.Run, whole time.Duration) {
	found, skipped := map[string]int{}, map[string]int{}
	for _, f := range run.Report.Findings {
		found[f.Rule]++
	}
	for _, n := range run.Report.NotChecked {
		skipped[n.Rule]++
	}
	took := run.Report.Took
	var sum time.Duration
	for _, d := range took {
		sum += d
	}
	rules := slices.Clone(run.Rules)
	slices.SortStableFunc(rules, func(a, b *lint.Rule) int {
		return cmp.Or(cmp.Compare(took[b.Name], took[a.Name]), cmp.Compare(a.Name, b.Name))
	})
	fmt.Fprintf(w, "%8s %8s %8s %11s  %s\n", "time", "records", "findings", "not checked", "rule")
	for _, r := range rules {
		fmt.Fprintf(w, "%8s %8d %8d %11d  %s\n", brief(took[r.Name]), run.Report.Applied[r.Name], found[r.Name], skipped[r.Name], r.Name)
	}
	fmt.Fprintf(w, "%s in rules (all processors together), %s in all with reading %d records\n", brief(sum), brief(whole), run.Report.Records)
}

func brief(d time.Duration) string {
	switch {
	case d >= time.Second:
		return d.Round(10 * time.Millisecond).String()
	case d >= time.Millisecond:
		return d.Round(100 * time.Microsecond).String()
	}
	return d.Round(time.Microsecond).String()
}
