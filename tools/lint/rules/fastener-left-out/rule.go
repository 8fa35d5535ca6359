// Package fastenerleftout reports: a fastener is still out at the end.
package fastenerleftout

import (
	_ "embed"

	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "fastener-left-out",
	Title:     "a fastener is still out at the end",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    lint.FromDryRun(own),
}

func own(f lint.Found) bool {
	return f.Cause == dryrun.CauseOpen && f.Entry.Debt == dryrun.DebtFastener && f.Entry.Is == dryrun.Out
}
