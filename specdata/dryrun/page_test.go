package dryrun_test

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"proofload/specdata/dryrun"
)

var update = flag.Bool("update", false, "write README.md")

// The page of verbs is the table, printed.
func TestPageOfVerbs(t *testing.T) {
	var b strings.Builder
	b.WriteString("# The verbs of an operation\n\nMade from the table in `table.go`; `go test ./specdata/dryrun -update` writes it.\n\n" +
		"| Verb | Acts on | Needs | Afterwards | Opens | Closes |\n| --- | --- | --- | --- | --- | --- |\n")
	all := 0
	for _, w := range dryrun.Vocabulary() {
		targets := strings.Join(w.Targets, ", ")
		if all = max(all, len(w.Targets)); len(w.Targets) == all && all > 10 {
			targets = "anything"
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", w.Verb, targets, w.Needs(), w.Does, join(w.Opens()), join(w.Closes()))
	}
	b.WriteString("\n# What closes what\n\n| Entry | Closed by |\n| --- | --- |\n")
	for _, d := range dryrun.Debts {
		fmt.Fprintf(&b, "| %s | `%s` |\n", d, d.ClosedBy())
	}
	if *update {
		if err := os.WriteFile("README.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != b.String() {
		t.Error("README.md is not the table; run go test ./specdata/dryrun -update")
	}
}

func join(ds []dryrun.Debt) string {
	var s []string
	for _, d := range ds {
		s = append(s, string(d))
	}
	slices.Sort(s)
	return strings.Join(s, ", ")
}
