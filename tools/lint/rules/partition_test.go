package rules_test

import (
	"context"
	"path/filepath"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

// TestDryRunIsDividedAmongRules: every problem that the dry run finds, in any case
// of any rule, is reported by exactly one rule, and between them the cases have
// every cause and every debt there is. So nothing the dry run knows is lost, and
// nothing is said twice.
func TestDryRunIsDividedAmongRules(t *testing.T) {
	cases, err := ruletest.Cases(filepath.Join("*", "testdata", "*.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	causes, debts := map[dryrun.Cause]bool{}, map[dryrun.Debt]bool{}
	for _, c := range cases {
		for e := range c.Library.All(specdata.KindProcedure) {
			problems := dryrun.Run(c.Library, e.Record.(*specdata.Procedure)).Problems()
			if len(problems) == 0 {
				continue
			}
			rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: c.Library, Only: []specdata.Name{e.Name()}, Date: ruletest.Date})
			if err != nil {
				t.Fatal(err)
			}
			type key struct{ pointer, message string }
			by := map[key][]string{}
			for _, f := range rep.Findings {
				by[key{f.Pointer, f.Message}] = append(by[key{f.Pointer, f.Message}], f.Rule)
			}
			for _, p := range problems {
				causes[p.Cause] = true
				if p.Cause == dryrun.CauseOpen {
					debts[p.Entry.Debt] = true
				}
				if got := by[key{p.Pointer, p.Message()}]; len(got) != 1 {
					t.Errorf("%s: problem %s %s is reported by rules %v, want exactly one:\n\t%s", c.File, p.Cause, p.Entry.Debt, got, p.Message())
				}
			}
		}
	}
	for _, c := range dryrun.Causes {
		if !causes[c] {
			t.Errorf("no case has the cause %s", c)
		}
	}
	for _, d := range dryrun.Debts {
		if !debts[d] {
			t.Errorf("no case leaves the debt %s", d)
		}
	}
}
